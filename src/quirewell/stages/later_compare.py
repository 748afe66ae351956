"""Checks after treatment held against the reading at its end: a registered method over text.

One series is one quantity on one place by one method. A line is a day and what was read; the end
of treatment stands beside it. Both readings carry the method's whole uncertainty: what a strip or
an eye is off by need not be the same a year later.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy as np

from quirewell.record.finding import Finding
from quirewell.science.evidence.detectable import decision_factor, smallest_detectable
from quirewell.stages.methods import Outcome, method
from quirewell.stages.typed import Unreadable, number
from quirewell.stages.typed_params import refuse_unknown

METHOD = "later.compare"
_KNOWN = ("quantity", "unit", "end", "end_on", "checks", "u", "basis")
_YEAR_DAYS = 365.25
_PLACES: Mapping[str, int] = {"step": 0, "pH": 1, "L*": 1}
# A straight line needs three points or more over a good part of a year to say anything.
LINE_POINTS, LINE_DAYS = 3, 180
ASSUMES = (
    "Both readings are off by as much as their method usually is, each for itself.",
    "A change is called in 5 of 100 checks where nothing changed.",
)
LINE_SAYS = (
    "The line through all checks takes a change to go on evenly, which nothing says it does."
)


class LaterError(ValueError):
    """A day or a number that the comparison cannot be made of."""


@method(METHOD, 1, "exact")
def compare(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """What changed since the end of treatment, check by check, and in a year."""
    refuse_unknown(params, _KNOWN, f"{METHOD} knows no parameter")
    unit, end = params.get("unit", ""), _number(params.get("end", ""))
    one_u = float(_number(params.get("u", "")))
    if not one_u > 0:
        raise LaterError(f"the uncertainty of a reading is above 0, got {one_u:g}")
    u, k = math.sqrt(2) * one_u, decision_factor()
    seen = smallest_detectable(u, k)
    found: list[Finding] = []
    checks = _checks(params.get("checks", ""))
    for day, value in checks:
        change = float(value - end)
        words = _words(change, u, k, seen, unit)
        found.append(
            Finding("", "later.change", day, change, u=u, unit=unit, smallest_seen=seen,
                    note=params.get("basis", ""))
        )  # fmt: skip
        found.append(Finding("", "later.says", day, text=words))
    line = _line(params.get("end_on", ""), end, checks, one_u, unit)
    says = (*ASSUMES, *((LINE_SAYS,) if line else ()))
    return Outcome((*found, *line), says)


def _words(change: float, u: float, k: float, seen: float, unit: str) -> str:
    least = size(seen, unit, up=True)
    if abs(change) <= k * u:
        return f"no change seen; {least} or more would surely have been seen"
    return (
        f"{'higher' if change > 0 else 'lower'} by {size(abs(change), unit)} than after treatment"
    )


def size(value: float, unit: str, up: bool = False) -> str:
    """An amount of the quantity in words; rounded ``up`` where it is a bound.

    >>> size(1.02, "pH"), size(1.41, "step", up=True), size(1, "step")
    ('1.0 pH', '2 steps', '1 step')
    """
    places = _PLACES.get(unit, 2)
    if up:
        value = math.ceil(value * 10**places - 1e-9) / 10**places
    text = f"{value:.{places}f}"
    named = unit if unit != "step" or text == "1" else "steps"
    return f"{text} {named}".strip()


def _line(
    end_on: str, end: Decimal, checks: list[tuple[str, Decimal]], u: float, unit: str
) -> list[Finding]:
    """Slope of the straight line through all points, a year; none where they say too little."""
    points = [(_day(end_on), float(end))] if end_on else []
    points += [(_day(day), float(value)) for day, value in checks]
    days = np.array([day.toordinal() for day, _ in points], dtype=np.float64)
    if len(points) < LINE_POINTS or np.ptp(days) < LINE_DAYS:
        return []
    years = (days - days.mean()) / _YEAR_DAYS
    values = np.array([value for _, value in points])
    spread = float(years @ years)
    slope = float(years @ (values - values.mean())) / spread
    slope_u = u / math.sqrt(spread)
    seen = smallest_detectable(slope_u, decision_factor())
    return [
        Finding("", "later.per_year", "", slope, u=slope_u, unit=f"{unit}/a", smallest_seen=seen,
                note="straight line through the end of treatment and all checks"),
    ]  # fmt: skip


def _checks(text: str) -> list[tuple[str, Decimal]]:
    out = []
    for line in text.splitlines():
        day, _, value = line.strip().partition(" ")
        if day:
            out.append((_day(day).isoformat(), _number(value)))
    if not out:
        raise LaterError("there is no check to compare; a line is a day and a number")
    return sorted(out)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise LaterError(f"a day is written as 2027-03-31, got {text[:20]!r}") from error


def _number(text: str) -> Decimal:
    try:
        return number(text)
    except Unreadable as error:
        raise LaterError(f"{error}") from error
