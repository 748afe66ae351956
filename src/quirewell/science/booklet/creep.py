"""Creep from the flat widths of wraps that were trimmed after stitching.

Nested, wrap ``j`` (0 = outermost) stands out by ``kappa t j``; one cut then makes all leaves
flush, so that flat it is ``width = 2 (W0 - kappa t j)`` wide: widths fall inwards, ``-2 kappa t``
from wrap to wrap. ``kappa`` is 1 for a sharp fold and pi/2 for half circles round one centre
(plain geometry); the trade's own factor is "usually 1.2 to 1.4, ideally 1" (``imposition_creep``).
Holds where all wraps are of one paper, trimmed in one cut, and measured at one humidity: newsprint
grows about 0.1 to 0.2 mm in width for 10 % RH. Growth changes the intercept, hardly the slope.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from quirewell.science.booklet.against_others import Array, Fit, Others, hold
from quirewell.science.booklet.reading import Reading

SHARP, ROUND = 1.0, math.pi / 2
TRADE = (1.2, 1.4)
# The factor where none could be fitted: the middle of the trade's, both bounds within 2 u.
KAPPA = Reading(1.3, 0.15)
# A newsprint leaf that was not measured: 0.07 to 0.10 mm (from memory), and a cover.
LEAF = Reading(0.085, 0.010)
COVER = Reading(0.12, 0.03)
# A steel rule read by hand on a flat sheet [mm] (assumed).
RULE_U_MM = 0.25
FEWEST = 4
# Scatter about the line, in units of the stated u, beyond which it is no line (own judgement).
LOOSE = 3.0


class TooFew(ValueError):
    """Too few wraps for a line with doubt; the message says how many there are and are needed."""


@dataclass(frozen=True, slots=True)
class Width:
    """A wrap (1 = outermost) lying flat: width, its u (None: not known), height [mm]."""

    wrap: int
    width_mm: float
    u_mm: float | None = None
    height_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Odd:
    """A wrap that does not lie on the line of the others: ``off_mm`` wider (+) or narrower (-),
    ``times`` their scatter; ``like``: at which place on the line a wrap has its width."""

    wrap: int
    off_mm: float
    times: float
    like: int | None
    says: str


@dataclass(frozen=True, slots=True)
class Creep:
    """The line through the widths. ``kappa_t_mm`` with its 90 % band, ``width_mm`` of the
    outermost wrap on the line, ``scatter_mm`` of a wrap about it; ``off_mm`` of each wrap from
    what the others say of it; ``agree`` False where they scatter about it three times their u."""

    kappa_t_mm: float
    u_kappa_t_mm: float
    low90: float
    high90: float
    dof: float
    width_mm: float
    u_width_mm: float
    scatter_mm: float
    wraps: tuple[int, ...]
    off_mm: tuple[float, ...]
    odd: tuple[Odd, ...]
    agree: bool

    @property
    def kappa_t(self) -> Reading:
        """Creep from wrap to wrap, for what is computed from it."""
        return Reading(self.kappa_t_mm, self.u_kappa_t_mm)


@dataclass(frozen=True, slots=True)
class Kappa:
    """The nesting factor with its 90 % band, and how it stands to its bounds."""

    value: float
    u: float
    low90: float
    high90: float
    says: str


@dataclass(frozen=True, slots=True)
class Change:
    """After minus before: of creep from wrap to wrap, and of the outermost width [mm]."""

    kappa_t: Reading
    width: Reading
    says: str


def push_out(wraps: int, leaf_mm: float, kappa: float) -> float:
    """How far the innermost of ``wraps`` [-] stands out beyond the outermost [mm].

    >>> round(push_out(14, 0.085, 1.3), 2)
    1.44
    """
    return kappa * leaf_mm * (wraps - 1)


def fit_widths(widths: Sequence[Width]) -> Creep:
    """Creep from flat widths, wraps that do not belong on the line set aside and named.

    Raises
    ------
    TooFew
        below four wraps
    ValueError
        a wrap given twice, a width or an uncertainty that is not above 0
    """
    wraps = _checked(widths)
    if len(widths) < FEWEST:
        raise TooFew(
            f"creep needs the widths of {FEWEST} wraps or more, got {len(widths)}: too few for a "
            "line and its doubt"
        )
    j = np.array([one.wrap - 1.0 for one in widths])
    assumed = all(one.u_mm is None for one in widths)
    u = np.array([one.u_mm or RULE_U_MM for one in widths])
    held = hold(
        np.column_stack([np.ones_like(j), j]), np.array([one.width_mm for one in widths]), u,
        assumed,
    )  # fmt: skip
    line = held.fit
    tall = _heights(widths)
    odd = tuple(
        _odd(widths, at, held, tall) for at in range(len(widths)) if not held.kept[at]
    )  # fmt: skip
    half = line.half90(1) / 2
    kappa_t = -float(line.values[1]) / 2
    return Creep(
        kappa_t, line.u(1) / 2, kappa_t - half, kappa_t + half, line.dof, float(line.values[0]),
        line.u(0), line.scatter * float(np.sqrt(np.mean(u[held.kept] ** 2))), wraps,
        tuple(map(float, held.off)), odd, held.agree and line.scatter <= LOOSE,
    )  # fmt: skip


def _checked(widths: Sequence[Width]) -> tuple[int, ...]:
    wraps = tuple(one.wrap for one in widths)
    for one in widths:
        if wraps.count(one.wrap) > 1:
            raise ValueError(f"wrap {one.wrap} is there twice; give each wrap one width")
        if not 1 <= one.wrap <= 99:
            raise ValueError(f"wraps count from 1 (outermost) to 99, got {one.wrap}")
        if not (0 < one.width_mm <= 2000 and (one.u_mm is None or 0 < one.u_mm <= 20)):
            raise ValueError(
                f"wrap {one.wrap}: a width lies above 0 and up to 2000 mm, its u above 0 and up to "
                f"20 mm; got {one.width_mm:g} and {one.u_mm}"
            )
    return wraps


def _heights(widths: Sequence[Width]) -> dict[int, tuple[float, float, bool]]:
    """Of each wrap with a height: how much taller than the others, times their scatter, like
    them."""
    tall = [(one.wrap, one.height_mm, one.u_mm) for one in widths if one.height_mm is not None]
    if len(tall) < FEWEST:
        return {}
    u: Array = np.array([given or RULE_U_MM for _, _, given in tall])
    held = hold(
        np.ones((len(tall), 1)), np.array([height for _, height, _ in tall]), u,
        all(given is None for _, _, given in tall),
    )  # fmt: skip
    return {
        wrap: (float(held.off[at]), float(held.times[at]), bool(held.kept[at]))
        for at, (wrap, _, _) in enumerate(tall)
    }


def _odd(
    widths: Sequence[Width], at: int, held: Others, tall: dict[int, tuple[float, float, bool]]
) -> Odd:
    one, off, times = widths[at], float(held.off[at]), float(held.times[at])
    like = _like(one, held.fit, max(other.wrap for other in widths))
    wider = off > 0
    says = (
        f"wrap {one.wrap} is {abs(off):.2f} mm {'wider' if wider else 'narrower'} than the others "
        f"leave room for, {abs(times):.1f} times their scatter: "
    ) + (
        "one trimmed in the same cut cannot be; it is of another copy, came in after trimming, lay "
        "farther out, or grew more than the others"
        if wider
        else "it was trimmed again, is of another copy, lay farther in, or shrank more than the "
        "others"
    )
    if like is not None:
        says += f". A wrap {like} would be as wide"
    if one.wrap in tall:
        more, many, same = tall[one.wrap]
        says += (
            ". Its height is like the others'"
            if same
            else f". It is also {abs(more):.2f} mm {'taller' if more > 0 else 'shorter'}, "
            f"{abs(many):.1f} times the scatter of heights"
        )
    return Odd(one.wrap, off, times, like, says)


def _like(one: Width, line: Fit, last: int) -> int | None:
    slope = float(line.values[1])
    if slope >= 0 or abs(slope) < 2 * line.half90(1):
        return None
    place = (one.width_mm - float(line.values[0])) / slope + 1
    # A place is told only where the others' scatter allows it, and it is another one.
    wrap = round(place)
    return wrap if 1 <= wrap <= last and abs(wrap - one.wrap) >= 2 else None


def nesting(creep: Creep, leaf: Reading = LEAF) -> Kappa:
    """The nesting factor ``kappa = (kappa t) / t`` with its band: both doubts combined by their
    quantiles (Student's t for the slope, normal for the thickness), held against its bounds.

    Raises
    ------
    ValueError
        a thickness not between 0.02 and 1 mm, or one known worse than to a quarter of itself
    """
    check_leaf(leaf)
    share = (np.arange(400) + 0.5) / 400
    slope = creep.kappa_t_mm + creep.u_kappa_t_mm * scipy.stats.t.ppf(share, creep.dof)
    thick = leaf.value + leaf.u * scipy.stats.norm.ppf(share)
    low, high = np.quantile(np.divide.outer(slope, thick), (0.05, 0.95))
    value = creep.kappa_t_mm / leaf.value
    relative = math.hypot(creep.u_kappa_t_mm, value * leaf.u) / leaf.value
    return Kappa(value, relative, float(low), float(high), _bounds(float(low), float(high)))


def check_leaf(leaf: Reading) -> None:
    """A leaf's thickness that can be divided by.

    Raises:
        ValueError: outside 0.02 to 1 mm, or known worse than to a quarter of itself.
    """
    if not (0.02 <= leaf.value <= 1 and leaf.u <= leaf.value / 4):
        raise ValueError(
            "a leaf is between 0.02 and 1 mm thick, and known to a quarter of that or better; got "
            f"{leaf.value:g} mm with u {leaf.u:g} mm. Measure ten leaves together and divide by ten"
        )


def _bounds(low: float, high: float) -> str:
    if high < 0:
        return (
            "widths grow inwards; the wraps lie in the wrong order, or were never trimmed in one "
            "cut"
        )
    if high < SHARP:
        return (
            "less than any fold can do (1); trimmed flat before stitching, a thinner leaf than "
            "said, or wraps trimmed again"
        )
    if low > ROUND:
        return (
            "more than any fold can do (1.57); a thicker leaf than said, or wraps missing between "
            "these"
        )
    if low <= 0:
        return "no fall of the widths is shown: the band takes in no creep at all"
    if low > TRADE[1] or high < TRADE[0]:
        return "within what folds can do (1 to 1.57), outside the trade's 1.2 to 1.4"
    return "agrees with what folds can do (1 to 1.57) and with the trade's 1.2 to 1.4"


def compare(before: Creep, after: Creep) -> Change:
    """Slopes and intercepts before and after: even growth changes the intercept and leaves the
    slope; a slope that changed says that wraps changed unequally, or that they were exchanged.
    Both fits count as independent, which is wide where the same wraps' own trim is in both."""
    turn = Reading(
        after.kappa_t_mm - before.kappa_t_mm, math.hypot(before.u_kappa_t_mm, after.u_kappa_t_mm)
    )
    wide = Reading(
        after.width_mm - before.width_mm, math.hypot(before.u_width_mm, after.u_width_mm)
    )
    slope_same = turn.low90 <= 0 <= turn.high90
    width_same = wide.low90 <= 0 <= wide.high90
    said = "grew" if wide.value > 0 else "shrank"
    if slope_same and width_same:
        says = "neither width nor creep from wrap to wrap is seen to have changed"
    elif slope_same:
        says = (
            f"all wraps {said} alike, by {abs(wide.value):.2f} mm; creep from wrap to wrap stayed"
        )
    else:
        inner = "wider" if turn.value < 0 else "narrower"
        says = (
            f"creep from wrap to wrap changed by {turn.value:+.3f} mm: inner wraps became "
            f"{inner} by comparison with outer ones; they dried otherwise, or changed places"
        )
    return Change(turn, wide, says)
