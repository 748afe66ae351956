"""Twenty companions of the Annual on the Larkmoor shelf, and the sales noted beside them.

All invented: titles, prices and damage. Damage is written as a person notes it, "place: term,
extent, severity"; prices are in crowns and belong to no real market.
"""

from __future__ import annotations

from dataclasses import dataclass

CURRENCY = "crowns"


@dataclass(frozen=True, slots=True)
class Companion:
    """One publication: what was paid, what it would bring as it lies, what is wrong with it."""

    title: str
    year: int
    paid: str
    value_now: str
    damage: tuple[str, ...]
    ready: int = 0

    def defects(self) -> tuple[dict[str, str], ...]:
        """Each damage as the form that notes it."""
        out = []
        for text in self.damage:
            place, _, rest = text.partition(": ")
            term, extent, severity = (part.strip() for part in rest.split(","))
            out.append({"place": place, "term": term, "extent": extent, "severity": severity})
        return tuple(out)


_ANNUAL, _ALMANAC, _SHOW = "Copperbeck Garden Annual", "Fenwren Almanac", "Thrushfield Show Book"

COMPANIONS = (
    Companion(_ANNUAL, 1931, "30", "46", (
        "spine: spine roll, 6 mm, moderate", "c.outer.right: tear, 22 mm, moderate",
        "w01.outer.left: tanned margin, 6 steps, moderate", "c.outer.left: soiling, 20 %, moderate",
    )),
    Companion(_ANNUAL, 1934, "52", "78", (
        "c.outer.right: corner crease, 6 mm, slight", "c.outer.left: fold, 74 mm, moderate",
        "staples: rusted staple, , slight", "w01.outer.left: tanned margin, 5 steps, moderate",
    ), 3),
    Companion(_ANNUAL, 1938, "70", "84", (
        "spine: spine roll, 4 mm, slight", "w01.outer.left: tanned margin, 4 steps, moderate",
        "c.outer.right: corner crease, 5 mm, slight", "c.outer.right: soiling, 10 %, slight",
    )),
    Companion(_ANNUAL, 1947, "12", "18", (
        "c.outer.right: loss, 700 mm2, severe", "spine: spine split, 90 mm, severe",
        "w01.outer.left: brittle edge, , severe",
    ), 9),
    Companion(_ANNUAL, 1949, "24", "34", (
        "c.outer.right: old tape, 60 mm, severe", "w02.outer.left: tear, 40 mm, moderate",
        "w01.outer.left: tanned margin, 5 steps, moderate",
    )),
    Companion(_ALMANAC, 1929, "40", "62", (
        "c.outer.right: soiling, 30 %, moderate", "spine: spine roll, 5 mm, moderate",
        "w01.outer.left: tanned margin, 6 steps, moderate", "c.outer.right: tear, 14 mm, slight",
    ), 9),
    Companion(_ALMANAC, 1930, "38", "52", (
        "c.outer.right: tear, 64 mm, moderate", "w03.outer.right: tideline, 15 %, moderate",
        "w01.outer.left: tanned margin, 5 steps, moderate",
    ), 3),
    Companion(_ALMANAC, 1931, "44", "70", (
        "c.outer.left: fold, 88 mm, moderate", "w01.outer.left: tanned margin, 5 steps, moderate",
        "spine: spine roll, 4 mm, slight", "c.outer.right: corner crease, 7 mm, slight",
    )),
    Companion(_ALMANAC, 1932, "8", "9", (
        "item: mould, , severe", "w05.outer.left: tideline, 40 %, severe",
    )),
    Companion(_ALMANAC, 1933, "46", "72", (
        "c.outer.right: corner crease, 9 mm, moderate", "spine: spine roll, 4 mm, slight",
        "w01.outer.left: tanned margin, 4 steps, moderate", "c.outer.left: soiling, 15 %, slight",
    )),
    Companion(_ALMANAC, 1935, "33", "48", (
        "w04.inner.left: detached leaf, 2, moderate", "c.outer.right: soiling, 25 %, moderate",
        "w01.outer.left: tanned margin, 6 steps, moderate", "spine: spine roll, 3 mm, slight",
    ), 9),
    Companion(_ALMANAC, 1936, "60", "88", (
        "w01.outer.left: tanned margin, 3 steps, slight", "spine: spine roll, 3 mm, slight",
        "c.outer.right: corner crease, 4 mm, slight",
    )),
    Companion(_ALMANAC, 1937, "36", "50", (
        "spine: spine split, 24 mm, moderate", "c.outer.right: tear, 18 mm, slight",
        "w01.outer.left: tanned margin, 5 steps, moderate",
    ), 3),
    Companion(_ALMANAC, 1939, "42", "64", (
        "spine: spine roll, 7 mm, moderate", "c.outer.left: fold, 92 mm, moderate",
        "w01.outer.left: tanned margin, 4 steps, moderate",
    )),
    Companion(_SHOW, 1928, "15", "26", (
        "c.outer.right: writing, 340 mm2, moderate", "w02.outer.right: foxing, 6 %, moderate",
        "w01.outer.left: tanned margin, 5 steps, moderate", "spine: spine roll, 4 mm, slight",
    ), 9),
    Companion(_SHOW, 1930, "18", "28", (
        "c.outer.right: corner crease, 12 mm, moderate", "spine: spine roll, 5 mm, moderate",
        "w01.outer.left: tanned margin, 6 steps, moderate",
    ), 3),
    Companion(_SHOW, 1933, "5", "6", (
        "c.outer.left: insect damage, 520 mm2, severe", "w01.outer.left: brittle edge, , severe",
    )),
    Companion(_SHOW, 1935, "22", "38", (
        "staples: rusted staple, , slight", "w01.outer.left: tanned margin, 4 steps, moderate",
        "c.outer.right: soiling, 12 %, slight",
    )),
    Companion(_SHOW, 1937, "20", "33", (
        "spine: spine roll, 6 mm, moderate", "c.outer.right: tear, 22 mm, moderate",
        "w01.outer.left: tanned margin, 4 steps, moderate",
    ), 9),
    Companion(_SHOW, 1938, "26", "45", (
        "c.outer.left: fold, 36 mm, slight", "w01.outer.left: tanned margin, 3 steps, slight",
    ), 3),
)  # fmt: skip

# Day, title, grade, price: as noted from sales seen and made.
SALES = (
    ("2023-01-10", _SHOW, "7.5", "60"),
    ("2023-02-26", _ANNUAL, "7.0", "106"),
    ("2023-04-02", _SHOW, "2.0", "19"),
    ("2023-04-15", _ANNUAL, "8.0", "196"),
    ("2023-07-05", _ALMANAC, "2.0", "19"),
    ("2023-09-05", _ALMANAC, "4.0", "60"),
    ("2023-11-10", _ALMANAC, "5.5", "54"),
    ("2023-11-23", _ANNUAL, "2.0", "43"),
    ("2023-12-07", _ALMANAC, "3.5", "45"),
    ("2023-12-25", _ALMANAC, "7.0", "93"),
    ("2024-02-15", _ANNUAL, "3.0", "68"),
    ("2024-03-11", _ANNUAL, "4.5", "77"),
    ("2024-03-27", _ALMANAC, "7.5", "138"),
    ("2024-04-02", _ALMANAC, "5.0", "50"),
    ("2024-04-12", _ANNUAL, "7.0", "110"),
    ("2024-06-20", _SHOW, "6.5", "47"),
    ("2024-09-12", _ANNUAL, "2.0", "23"),
    ("2024-11-08", _ALMANAC, "7.0", "128"),
    ("2024-11-11", _ANNUAL, "4.0", "32"),
    ("2025-02-03", _ALMANAC, "7.5", "176"),
    ("2025-02-27", _SHOW, "3.5", "30"),
    ("2025-03-20", _ANNUAL, "4.0", "50"),
    ("2025-03-25", _ANNUAL, "5.5", "84"),
    ("2025-04-17", _ALMANAC, "5.5", "65"),
    ("2025-06-14", _ANNUAL, "3.0", "30"),
    ("2025-08-04", _SHOW, "7.0", "66"),
    ("2025-09-02", _ANNUAL, "2.0", "29"),
    ("2025-09-10", _ALMANAC, "6.0", "110"),
    ("2025-10-22", _ANNUAL, "2.0", "45"),
    ("2025-10-22", _SHOW, "4.5", "24"),
)
