"""Limits of what is computed: values outside them, as sentences."""

from __future__ import annotations

from collections.abc import Iterable

# A value's name, the value, its least and greatest, and their unit ("" for none).
Row = tuple[str, float, float, float, str]


def beyond(rows: Iterable[Row]) -> list[str]:
    """What lies outside its limits, or is no number, a sentence without its full stop each.

    >>> beyond([("the room", 20.0, 5, 40, "°C"), ("wraps", 90, 1, 60, "")])
    ['wraps must lie between 1 and 60, got 90']
    """
    return [
        f"{name} must lie between {low:g} and {high:g} {unit}".rstrip() + f", got {value:g}"
        for name, value, low, high, unit in rows
        if not low <= value <= high
    ]


def within(name: str, value: float, low: float, high: float, unit: str = "") -> str:
    """The sentence for one value, or nothing where it lies within."""
    return "".join(f"{says}." for says in beyond([(name, value, low, high, unit)]))
