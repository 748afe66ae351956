"""The change of a leaf's size in per cent, with everything that could feign it.

Four terms, each a standard uncertainty in per cent: ``match`` (the registration itself),
``scale`` (micrometres a pixel after over before), ``scanner`` (the glass does not draw true),
``humidity`` (paper breathes). The verdict is one statement about width and height together:
either is called changed when it exceeds k u, with k for 5 % false alarms over both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.science.evidence.detectable import decision_factor, smallest_detectable
from quirewell.science.evidence.uncertainty import Budget, BudgetTerm, rectangular
from quirewell.science.paper.expansion import HumidityTerm

FALSE_ALARM = 0.05
LOOKS = 2
# One low-cost flatbed: up to 12 pixels of 20 um off, 7 um rms once its steady part is taken
# away (isprs1996); other scanners may be better or worse.
FLATBED_LIMIT_UM = 240.0
FLATBED_REPEAT_UM = 7.0
_PLACE_MM = 50.0
_REPEAT_OVER_UM = 260_000.0
# What washing and free drying may leave (physics notes, computed): finer than this must be seen.
TYPICAL_CHANGE_PCT = 0.5


@dataclass(frozen=True, slots=True)
class AxisChange:
    """Change of one dimension [%], its budget, and the smallest true change it would show.

    ``smallest_match_pct`` is the same with the match alone: what the pictures could show if
    scale, scanner and humidity were held.
    """

    name: str
    value_pct: float
    budget: Budget
    smallest_pct: float
    smallest_match_pct: float

    @property
    def u_pct(self) -> float:
        """Combined standard uncertainty [%]."""
        return self.budget.u

    @property
    def called(self) -> bool:
        """Whether the change exceeds what the budget could feign."""
        return abs(self.value_pct) > decision_factor(FALSE_ALARM, LOOKS) * self.u_pct


@dataclass(frozen=True, slots=True)
class Verdict:
    """``word`` is "changed", "unchanged" or "cannot tell"; ``says`` the whole sentence."""

    word: str
    says: str


def scanner_term(
    length_mm: float,
    moved_mm: float,
    turned: bool,
    length_u_um: float | None = None,
    repeat_um: float | None = None,
) -> BudgetTerm:
    """Geometry of a flatbed over a leaf of ``length_mm`` [mm].

    Of a calibrated one ``length_u_um`` is what is left for a length across a sheet and
    ``repeat_um`` how well a length of 260 mm repeats (``scanner.calibrate``); else that of an
    uncalibrated one:

    A leaf laid on the same place sees the same error twice and only the repeatability is
    left: a smooth error of rms s has the slope sqrt(12) s / L, twice. Elsewhere the whole
    published error counts for each scan; it grows with the distance ``moved_mm`` and is full
    from 50 mm on (assumed), or when the leaf lay turned.
    """
    repeat = math.sqrt(2) * math.sqrt(12) * FLATBED_REPEAT_UM / (length_mm * 1000)
    full = math.sqrt(2) * rectangular(FLATBED_LIMIT_UM) / (length_mm * 1000)
    kind = "uncalibrated flatbed"
    if length_u_um is not None and repeat_um is not None:
        kind = "calibrated scanner"
        repeat = math.sqrt(2) * repeat_um / _REPEAT_OVER_UM
        full = math.sqrt(2) * length_u_um / (length_mm * 1000)
    share, place = _laid(moved_mm, turned)
    return BudgetTerm(
        "scanner", 100 * math.hypot(repeat, share * full), basis=f"{kind}, leaf {place}"
    )


def scanner_bend_um(
    moved_mm: float,
    turned: bool,
    length_u_um: float | None = None,
    repeat_um: float | None = None,
) -> BudgetTerm:
    """What a flatbed can feign of a bend between two scans [um].

    Of a calibrated one by ``length_u_um`` and ``repeat_um`` as in :func:`scanner_term`: a place
    errs by no more than a length across the sheet does. Else that of an uncalibrated one.
    """
    repeat, full, kind = FLATBED_REPEAT_UM, rectangular(FLATBED_LIMIT_UM), "uncalibrated flatbed"
    if length_u_um is not None and repeat_um is not None:
        repeat, full, kind = repeat_um, length_u_um, "calibrated scanner"
    share, place = _laid(moved_mm, turned)
    u = math.sqrt(2) * math.hypot(repeat, share * full)
    return BudgetTerm("scanner", u, basis=f"{kind}, leaf {place}")


def _laid(moved_mm: float, turned: bool) -> tuple[float, str]:
    """Share [0..1] of the glass's error that two scans do not have in common, and why."""
    share = 1.0 if turned else min(1.0, moved_mm / _PLACE_MM)
    return share, "turned" if turned else f"laid {moved_mm:.0f} mm from its first place"


def axis_change(
    name: str,
    value_pct: float,
    u_match_pct: float,
    scale: BudgetTerm,
    scanner: BudgetTerm,
    humidity: HumidityTerm,
    match_basis: str = "scatter of the matched points",
) -> AxisChange:
    """Put one dimension's budget together."""
    match = BudgetTerm("match", u_match_pct, basis=match_basis)
    budget = Budget(
        (match, scale, scanner, BudgetTerm("humidity", humidity.u_pct, basis=humidity.basis))
    )
    k = decision_factor(FALSE_ALARM, LOOKS)
    return AxisChange(
        name,
        value_pct,
        budget,
        smallest_detectable(budget.u, k),
        smallest_detectable(u_match_pct, k),
    )


_CURES = {
    "match": "a scan at a higher resolution, with the print in focus",
    "scale": "a scale strip or a steel rule beside the leaf in both scans",
    "scanner": "the leaf laid on the same place of the glass, the same way round, in both scans",
    "humidity": "a hygrometer read at both scans, and a night in the same air before each",
}


def cheapest_cure(change: AxisChange) -> str:
    """The one cheap thing that would narrow this change most."""
    return _CURES[change.budget.largest.name]


def _give_or_take(axis: AxisChange) -> str:
    """A change in words with its expanded uncertainty, 2 u, about 95 % (``jcgm100`` 6.3.3)."""
    if axis.u_pct <= 0:
        return f"{axis.value_pct:+.3f} %"
    spread = 2.0 * axis.u_pct
    places = max(0, 1 - math.floor(math.log10(spread)))
    return f"{axis.value_pct:+.{places}f} \u00b1 {spread:.{places}f} %"


def judge(width: AxisChange, height: AxisChange, margin_pct: float | None = None) -> Verdict:
    """One verdict on both dimensions; a margin [%] counts only when set before measuring.

    With a margin: unchanged when \\|change\\| + 1.96 u stays within it on both (guarded
    acceptance, ``jcgm106``). Without: unchanged means "not seen", with the smallest change
    that would have been seen in 95 of 100 cases.

    Raises:
        ValueError: when the margin is not positive.
    """
    if margin_pct is not None and not margin_pct > 0:
        raise ValueError(f"a margin must be above 0 %, got {margin_pct} %")
    axes = (width, height)
    numbers = " and ".join(f"{axis.name} {_give_or_take(axis)}" for axis in axes)
    worst = max(axes, key=lambda a: a.u_pct)
    names = " and ".join(axis.name for axis in axes if axis.called)
    if margin_pct is not None:
        reach = max(abs(a.value_pct) + a.budget.expanded() for a in axes)
        if reach <= margin_pct:
            seen = f"; a change of {names} was seen, smaller than that" if names else ""
            return Verdict(
                "unchanged",
                f"unchanged within {margin_pct:g} %: {numbers}, margin set beforehand{seen}",
            )
    if names:
        return Verdict("changed", f"changed ({names}): {numbers}")
    if margin_pct is not None:
        return Verdict(
            "cannot tell",
            f"cannot tell whether the size stayed within {margin_pct:g} %: {numbers}. "
            f"It would take {cheapest_cure(worst)}.",
        )
    smallest = max(a.smallest_pct for a in axes)
    if smallest > TYPICAL_CHANGE_PCT:
        return Verdict(
            "cannot tell",
            f"cannot tell: {numbers}; only a change of {smallest:.2f} % or more would have been "
            f"seen, and washing may leave less. It would take {cheapest_cure(worst)}.",
        )
    return Verdict(
        "unchanged",
        f"unchanged within {smallest:.2f} %, the smallest change that would have been seen: "
        f"{numbers}",
    )
