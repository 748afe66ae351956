"""What measuring can prove, told before anything is measured after treatment.

The scatter is that of the user's own rule, where it was read twice; else what its steps leave. How
much leaves differ among themselves is not known beforehand: the chance is given for none and for
an assumed size (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from quirewell.record.nouns import ItemState
from quirewell.science.evidence.over_units import chance_within, units_needed
from quirewell.science.evidence.repeatability import pooled
from quirewell.science.evidence.uncertainty import resolution_u
from quirewell.science.imaging.change import scanner_term
from quirewell.stages.evidence import air_terms
from quirewell.stages.evidence_table import EVIDENCE, Evidence
from quirewell.stages.margins import first_after
from quirewell.stages.proving_readings import groups
from quirewell.stages.proving_said import size_said

LEAVES_DIFFER_MM = 0.3
RULE_STEP_MM = 0.5
SCALE_PCT = 0.02  # a bench strip found in both scans (assumed; each pair says its own afterwards)
USUAL_MM = {"size.width_mm": 180.0, "size.height_mm": 260.0}
WRAPS = 6
WANTED = 0.90


@dataclass(frozen=True, slots=True)
class Power:
    """What one way of measuring can prove of one quantity: chances [0..1] that an item on which
    nothing changed passes the margin, with leaves alike and with leaves that differ."""

    key: str
    name: str
    way: str
    margin: float
    wraps: int
    alike: float
    differing: float
    needed: int | None
    says: str


def power_before(state: ItemState) -> tuple[Power, ...]:
    """For the sizes, by rule and by scans; nothing once they were measured after treatment."""
    out: list[Power] = []
    for about in EVIDENCE.values():
        if about.pct and first_after(state, about.key) is None:
            out += _ways(state, about)
    return tuple(out)


def _ways(state: ItemState, about: Evidence) -> Iterator[Power]:
    locked = state.margins.get(f"margin.{about.key}")
    margin = float(locked.value if locked else about.preset or 0)
    wraps = max(state.gathering.wraps if state.gathering else WRAPS, 2)
    size = USUAL_MM[about.key]
    if state.gathering is not None:
        known = state.gathering.width_mm if "width" in about.key else state.gathering.height_mm
        size = known or size
    air = air_terms(state, about, size)[0][1]
    sd, rule = _rule(state, about)
    glass = math.hypot(SCALE_PCT, scanner_term(size, 0.0, False).u) / 100 * size
    yield _power(about, rule, margin, wraps, sd, air)
    scans = "scans on one place of the glass, the strip beside each leaf"
    yield _power(about, scans, margin, wraps, 0.02, math.hypot(air, glass))


def _rule(state: ItemState, about: Evidence) -> tuple[float, str]:
    """Scatter of a leaf's change read by rule [mm], and how it is known."""
    for (quantity, tool), read in groups(state).items():
        if quantity == about.reading:
            step = read[0][0].resolution
            found = pooled([[one.value for one in group] for group in read], step)
            one = max(found.s_r, resolution_u(float(step or 0)))
            name = tool or "your rule"
            return math.sqrt(2) * one, f"{name}, by its {found.dof} duplicates"
    step_u = math.sqrt(2) * resolution_u(RULE_STEP_MM)
    return step_u, f"a steel rule read to {RULE_STEP_MM} mm, its scatter assumed"


def _power(
    about: Evidence, way: str, margin: float, wraps: int, sd: float, shared: float
) -> Power:  # fmt: skip
    more = math.hypot(sd, LEAVES_DIFFER_MM)
    alike = chance_within(wraps, margin, sd, shared)
    differing = chance_within(wraps, margin, more, shared)
    needed = units_needed(margin, more, shared, WANTED)
    if differing >= WANTED:
        more_says = ""
    elif needed is None:
        more_says = (
            ". No number of wraps makes that 90: what all share, the air above all, is too much"
        )
    else:
        more_says = f". {needed} wraps would make that 90"
    says = (
        f"With {wraps} wraps and {way}, a true change of none passes {size_said(margin, 'mm')} in "
        f"{_cases(alike)} of 100 cases; where leaves differ by {LEAVES_DIFFER_MM} mm among "
        f"themselves, in {_cases(differing)}{more_says}."
    )
    return Power(about.key, about.name, way, margin, wraps, alike, differing, needed, says)


def _cases(chance: float) -> str:
    cases = math.floor(100 * chance)
    return "fewer than 1" if cases < 1 else str(cases)
