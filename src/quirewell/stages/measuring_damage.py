"""Findings on open tears and on stains of a leaf. Tears are proposed: a person confirms each."""

from __future__ import annotations

import math

from quirewell.record.finding import Finding
from quirewell.record.measured import Term
from quirewell.science.imaging.scale import Scale
from quirewell.science.imaging.stains import SMALLEST_MM2, Stains
from quirewell.science.imaging.tears import OpenTear, Tears

# Tears shorter than this are told apart from a ragged edge by the person only.
SURE_MM = 3.0
MOTTLE_U_PCT = 0.4
# Brown or red print among the paper: so much of it may pass for stain (assumed).
_PRINT_U_PCT = 3.0
_FROM = {"head": "left", "foot": "left", "left": "head", "right": "head"}


def tear_findings(tears: Tears, scale: Scale) -> list[Finding]:
    """A verdict in words, and for each tear its length, edge, place along it and gap."""
    found = [Finding("", "leaf.tears_seen", "", text=tears_words(tears))]
    for number, tear in enumerate(tears.found, 1):
        found += _one(f"leaf.tears.{number}", tear, tears, scale)
    return found


def tears_words(tears: Tears) -> str:
    """How many tears are proposed, and what would have gone unseen."""
    limit = (
        f"tears of {SURE_MM:g} mm with a gap of {tears.smallest_gap_mm:.2f} mm or more show; "
        "closed tears, and those along the fold, do not show in flat light"
    )
    count = len(tears.found)
    if not count:
        return f"no open tear seen: {limit}"
    return f"{count} open tear{'s' * (count > 1)} proposed, to be confirmed by eye: {limit}"


def _one(name: str, tear: OpenTear, tears: Tears, scale: Scale) -> list[Finding]:
    relative = scale.u_pct / 100.0
    end = "lost among print" if tear.ends_in_print else "where it fades into the paper"
    terms = (
        Term("tip", tear.tip_u_mm, f"its end is {end}"),
        Term("course", tear.course_u_mm, "how closely its way was followed"),
        Term("scale", relative * tear.length_mm, "scale of the picture"),
    )
    place = (Term("mouth", 0.3, "middle of its mouth"),
             Term("scale", relative * tear.along_mm, "scale of the picture"))  # fmt: skip
    gap = (Term("gap", max(0.05, 0.15 * tear.width_mm), "share of ground across it"),)
    note = f"{tear.side} edge, {tear.along_mm:.1f} mm from its {_FROM[tear.side]} end; proposed"
    if tear.ends_in_print:
        note += "; at least so long, its end is lost among print"
    if tear.hard_to_see:
        note += "; on a light ground the thin end of a tear does not show"
    return [
        _number(f"{name}.length_mm", tear.length_mm, terms, SURE_MM, note),
        Finding("", f"{name}.edge", "", text=tear.side),
        _number(f"{name}.along_mm", tear.along_mm, place),
        _number(f"{name}.gap_mm", tear.width_mm, gap, tears.smallest_gap_mm),
    ]


def _number(
    quantity: str,
    value: float,
    terms: tuple[Term, ...],
    smallest: float | None = None,
    note: str = "",
) -> Finding:
    u = math.sqrt(sum(term.u**2 for term in terms))
    return Finding(
        "", quantity, "", value=value, u=u, unit="mm", terms=terms, smallest_seen=smallest,
        note=note,
    )  # fmt: skip


def stain_findings(stains: Stains) -> list[Finding]:
    """Share of the paper that is stained, and in words what the stains look like."""
    smallest = 100.0 * SMALLEST_MM2 / stains.looked_mm2
    terms = (
        Term("threshold", stains.u_threshold_pct, "where a stain that fades away ends"),
        Term("mottle", MOTTLE_U_PCT, "clouds of the pulp: 0.7 % seen on clean generated leaves"),
        Term("smallest", smallest, "spots too small to tell"),
        Term("print", _PRINT_U_PCT * stains.coloured_print, "coloured print may pass for stain"),
    )
    u = math.sqrt(sum(term.u**2 for term in terms))
    return [
        Finding(
            "", "stains.area_pct", "", value=stains.area_pct, u=u, unit="%", terms=terms,
            smallest_seen=smallest, note=f"of {stains.looked_mm2 / 100:.0f} cm2 of paper between "
            "print and more than 2 mm from the edges",
        ),
        Finding("", "stains.seen", "", text=stains_words(stains)),
    ]  # fmt: skip


def stains_words(stains: Stains) -> str:
    """Spots, tidelines and larger stains in words, and the faintest that would have shown."""
    large = len(stains.found) - stains.spots - stains.tidelines
    parts = [
        f"{count} {one if count == 1 else many}"
        for count, one, many in (
            (stains.spots, "small spot", "small spots"),
            (stains.tidelines, "stretch of tideline", "stretches of tideline"),
            (large, "larger stain", "larger stains"),
        )
        if count
    ]
    seen = ", ".join(parts) if parts else "no stain seen"
    return (
        f"{seen}; a stain shows from {SMALLEST_MM2:g} mm2 on when it is {stains.least_L:.1f} "
        f"darker in L* and {stains.least_b:.1f} yellower in b* than the paper about it"
    )
