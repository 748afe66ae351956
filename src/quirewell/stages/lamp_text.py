"""The lights file: a line of azimuth and elevation for each lamp, or TOML.

The text comes from anywhere and is read as such: short, numbers only, each within its range.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from quirewell.record.plain_data import BadData, toml_data
from quirewell.science.imaging.lamps import ELEVATION_DEG, Lamp, Sphere

MOST_LAMPS = 64
FIND = "sphere"
_MOST_CHARACTERS = 20_000
_EXAMPLE = "a lamp to a line, as in: 45, 25 (azimuth and elevation in degrees)"


@dataclass(frozen=True, slots=True)
class LampText:
    """What a lights file says: the lamps in the order of the pictures, or a sphere, or that the
    sphere is to be found in the pictures."""

    lamps: tuple[Lamp, ...] = ()
    sphere: Sphere | None = None
    find: bool = False


def read_lamps(text: str) -> LampText:
    """Read lamps from a small text: lines of two numbers, the word "sphere", or TOML.

    TOML holds ``[[lamp]]`` tables with ``azimuth`` and ``elevation``, or one table ``[sphere]``
    with ``x``, ``y`` and ``radius`` in pixels; empty, it is to be found, as by the word alone.

    Raises:
        ValueError: text that is too long or means nothing, in a sentence.
    """
    if len(text) > _MOST_CHARACTERS:
        raise ValueError(f"the lights file is too long; it needs only {_EXAMPLE}")
    if re.search(r"^\s*\[", text, re.M) or re.search(r"^\s*\w+\s*=", text, re.M):
        return _from_toml(text)
    if text.strip().lower() == FIND:
        return LampText(find=True)
    lamps = []
    for number, line in enumerate(text.splitlines(), 1):
        plain = line.split("#", 1)[0].strip()
        fields = [field for field in re.split(r"[,;\s]+", plain) if field]
        if not fields or (number == 1 and fields[0].lower().startswith("azimuth")):
            continue
        if len(fields) != 2:
            raise ValueError(f"line {number} of the lights file holds {plain[:40]!r}; {_EXAMPLE}")
        lamps.append(_lamp(fields[0], fields[1], f"line {number} of the lights file"))
    return LampText(_checked(lamps))


def _from_toml(text: str) -> LampText:
    try:
        data = toml_data(text)
    except BadData as error:
        raise ValueError(
            f"the lights file is no valid TOML: {error}; or write {_EXAMPLE}"
        ) from None
    known = sorted(set(data) - {"lamp", "sphere"})
    if known:
        raise ValueError(f"the lights file may hold [[lamp]] or [sphere], not {known[0][:40]!r}")
    if "sphere" in data and data["sphere"] == {}:
        return LampText(find=True)
    if "sphere" in data:
        return LampText((), _sphere(data["sphere"]))
    tables = data.get("lamp")
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise ValueError("lamps in the lights file are tables that begin with [[lamp]]")
    return LampText(
        _checked(
            [
                _lamp(table.get("azimuth"), table.get("elevation"), f"lamp {number}")
                for number, table in enumerate(tables, 1)
            ]
        )
    )


def _sphere(table: Any) -> Sphere:
    values = [table.get(name) if isinstance(table, dict) else None for name in ("x", "y", "radius")]
    numbers = [_number(value, "the sphere's x, y and radius") for value in values]
    if not 5 <= numbers[2] <= 20_000:
        raise ValueError(f"the sphere's radius must be 5 px or more, got {numbers[2]:g} px")
    return Sphere(*numbers)


def _lamp(azimuth: Any, elevation: Any, where: str) -> Lamp:
    one, two = (
        _number(value, f"{name} of {where}")
        for name, value in (("azimuth", azimuth), ("elevation", elevation))
    )
    if not -360 <= one <= 360:
        raise ValueError(f"azimuth of {where} must lie between -360 and 360 degrees, got {one:g}")
    if not ELEVATION_DEG[0] <= two <= ELEVATION_DEG[1]:
        raise ValueError(
            f"elevation of {where} must lie between {ELEVATION_DEG[0]:g} and "
            f"{ELEVATION_DEG[1]:g} degrees above the sheet, got {two:g}"
        )
    return Lamp(one % 360, two)


def _number(value: Any, what: str) -> float:
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise ValueError(f"{what} must be a number, got {str(value)[:40]!r}") from None
    if isinstance(value, bool) or not math.isfinite(number):
        raise ValueError(f"{what} must be a number, got {str(value)[:40]!r}")
    return number


def _checked(lamps: list[Lamp]) -> tuple[Lamp, ...]:
    if not 2 <= len(lamps) <= MOST_LAMPS:
        raise ValueError(
            f"the lights file names {len(lamps)} lamps; 2 to {MOST_LAMPS} are allowed, {_EXAMPLE}"
        )
    return tuple(lamps)
