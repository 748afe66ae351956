"""What the bench has, as text: places of its equipment, people, working hours.

``[studio]`` of a plan file, and the same kept in the studio's own stream: ``people`` (1), ``hours``
(a rule or a list, :mod:`.plan_hours`; one person's evenings at first), ``off``, ``extra``, and
``[studio.places]`` with a count for each equipment. Places named nowhere are one. The presets are
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quirewell.stages.plan_hours import EVENINGS, Hours, read_hours

PLACES: Mapping[str, int] = {"tray": 2, "rack": 8, "press": 1, "chamber": 1, "iron": 1}
KNOWN = ("people", "hours", "off", "extra", "places")
MOST_PEOPLE, MOST_PLACES, MOST_KINDS, NAME_SIGNS = 9, 200, 40, 40


@dataclass(frozen=True, slots=True)
class ShopText:
    """What the bench has; ``written`` are the places named in the text itself."""

    people: int
    hours: Hours
    places: Mapping[str, int]
    written: frozenset[str]


def read_shop(data: Mapping[str, Any]) -> ShopText:
    """Read the table ``[studio]``.

    Raises:
        ValueError: with what was given and what is allowed.
    """
    unknown(data, KNOWN, "[studio]")
    people = count(data, "people", "[studio]", 1, 1, MOST_PEOPLE)
    given = data.get("places", {})
    if not isinstance(given, Mapping):
        raise ValueError("[studio.places] holds a count for each equipment, such as tray = 2")
    if len(given) > MOST_KINDS:
        raise ValueError(f"[studio.places] holds at most {MOST_KINDS} kinds, got {len(given)}")
    places = dict(PLACES)
    for name in given:
        key = str(name).strip().lower()
        if not key or len(key) > NAME_SIGNS or not key.isprintable():
            raise ValueError(f"an equipment has a short name, got {str(name)[:60]!r}")
        places[key] = count(given, name, "[studio.places]", 1, 0, MOST_PLACES)
    hours = read_hours(
        rows(data, "hours", "[studio]") or EVENINGS, rows(data, "off", "[studio]"),
        rows(data, "extra", "[studio]"),
    )  # fmt: skip
    written = frozenset(str(name).strip().lower() for name in given)
    return ShopText(people, hours, places, written)


def unknown(row: Mapping[str, Any], known: Sequence[str], where: str) -> None:
    """Refuse a key that is not known.

    Raises:
        ValueError: with the first such key, and what there is.
    """
    for key in row:
        if key not in known:
            raise ValueError(f"{where} knows no {str(key)[:60]!r}; it knows {', '.join(known)}")


def rows(row: Mapping[str, Any], key: str, where: str) -> list[Any]:
    """A list, or one entry alone."""
    value = row.get(key, [])
    if isinstance(value, dict):
        raise ValueError(f"{where}: {key} is one entry or a list of them")
    return value if isinstance(value, list) else [value]


def count(row: Mapping[str, Any], key: str, where: str, usual: int, low: int, high: int) -> int:
    """A whole number within limits.

    Raises:
        ValueError: for anything else.
    """
    value = row.get(key, usual)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise ValueError(
            f"{where}: {str(key)[:60]} is a whole number from {low} to {high}, "
            f"got {str(value)[:40]!r}"
        )
    return value


def text(row: Mapping[str, Any], key: str, where: str, most: int = 200) -> str:
    """A line of text.

    Raises:
        ValueError: for no text, or one too long.
    """
    value = row.get(key, "")
    if not isinstance(value, str) or len(value) > most or not value.isprintable():
        raise ValueError(f"{where}: {key} is one line of at most {most} printable signs, "
                         f"got {str(value)[:60]!r}")  # fmt: skip
    return value.strip()
