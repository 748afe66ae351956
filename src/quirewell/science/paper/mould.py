"""Mould by temperature and humidity over time: an index that remembers, hour by hour.

The growth model for wood and building boards (``hukka1999``, classes of ``viitanen2007``; constants
as public code carries them). M is 0 to 6: 1 begins to show under a microscope, 3 to the eye. For
paper it is a stand-in: "sensitive" is the class with paper-faced boards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Class = Literal["very sensitive", "sensitive", "medium", "resistant"]


@dataclass(frozen=True, slots=True)
class _Row:
    """k1 below and above M = 1, A, B, C of the highest M, and the least humidity [%]."""

    slow: float
    fast: float
    a: float
    b: float
    c: float
    least: float


_ROWS: dict[Class, _Row] = {
    "very sensitive": _Row(1.0, 2.0, 1.0, 7.0, 2.0, 80.0),
    "sensitive": _Row(0.578, 0.386, 0.3, 6.0, 1.0, 80.0),
    "medium": _Row(0.072, 0.097, 0.0, 5.0, 1.5, 85.0),
    "resistant": _Row(0.033, 0.014, 0.0, 3.0, 1.0, 85.0),
}


def critical_rh(temperature_c: float, kind: Class = "sensitive") -> float:
    """Humidity [%] below which nothing grows at a temperature [C].

    >>> round(critical_rh(10.0), 2)
    82.03
    """
    least = _ROWS[kind].least
    if temperature_c > 20:
        return least
    t = temperature_c
    return max(-0.00267 * t**3 + 0.160 * t**2 - 3.13 * t + 100, least)


def growth_per_day(
    temperature_c: float, rh_pct: float, index: float = 0.0, kind: Class = "very sensitive"
) -> float:
    """Growth of the index [1/day] while it is humid enough; 0 below the critical humidity.

    Raises
    ------
    ValueError
        At or below freezing, above 50 C, or for a humidity that is none.

    >>> round(growth_per_day(20.0, 90.0), 4)
    0.034
    """
    if not 0 < temperature_c <= 50:
        raise ValueError(f"the model grows between 0 and 50 °C, got {temperature_c:g} °C")
    if not 1 < rh_pct <= 100:
        raise ValueError(f"humidity is per cent here, 1 to 100, got {rh_pct:g}")
    row, critical = _ROWS[kind], critical_rh(temperature_c, kind)
    if rh_pct < critical:
        return 0.0
    power = -0.68 * math.log(temperature_c) - 13.9 * math.log(rh_pct) + 66.02
    share = (critical - rh_pct) / (critical - 100) if critical < 100 else 0.0
    highest = row.a + row.b * share - row.c * share**2
    late = max(1 - math.exp(2.3 * (index - highest)), 0.0)
    return (row.slow if index < 1 else row.fast) * late / (7 * math.exp(power))


def mould_index(
    temperature_c: Sequence[float], rh_pct: Sequence[float], kind: Class = "very sensitive"
) -> tuple[float, ...]:
    """The index after each hour of a course, drying included (0 to 6).

    Dry hours take it back by 0.032 a day for six hours, not at all to the first day, then by
    0.016 a day.

    Raises
    ------
    ValueError
        When the courses differ in length, or hold a state that cannot be.
    """
    if len(temperature_c) != len(rh_pct):
        raise ValueError("temperature and humidity need the same number of hours")
    index, dry, out = 0.0, 0, []
    for t, h in zip(temperature_c, rh_pct, strict=True):
        if h >= critical_rh(t, kind):
            dry = 0
            index += growth_per_day(t, h, index, kind) / 24
        else:
            dry += 1
            back = 0.032 if dry <= 6 else 0.0 if dry <= 24 else 0.016
            index = max(0.0, index - back / 24)
        out.append(index)
    return tuple(out)


def days_until(
    temperature_c: float, rh_pct: float, index: float = 1.0, kind: Class = "very sensitive"
) -> float:
    """Days of one climate until the index is reached; infinite where it never is."""
    held, days, step = 0.0, 0.0, 1 / 24
    while held < index:
        rate = growth_per_day(temperature_c, rh_pct, held, kind)
        if rate <= 1e-9 or days > 3650:
            return math.inf
        held += rate * step
        days += step
    return days
