"""What was seen while an item was taken apart, and what guides putting it together again.

A sheet's own frame: it lies flat, its outer side up, head away from you; x in millimetres from
the fold to the right, y in millimetres from the head edge at the fold down. Staple holes are
numbered from the head, two to a staple.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

Crown = Literal["", "outside", "inside"]
Legs = Literal["", "folded inwards", "folded outwards", "straight", "broken"]
Rust = Literal["", "none", "slight", "heavy"]
Care = Literal["", "clean and put back", "replace", "leave out"]
Facing = Literal["", "as made", "inside out", "head down", "inside out and head down", "not there"]
HoleState = Literal["clean", "torn", "rusted", "plugged", "missing"]
HOLE_STATES: tuple[HoleState, ...] = ("clean", "torn", "rusted", "plugged", "missing")
_SHEET = re.compile(r"c|w\d{2}")
_LEAF = re.compile(r"s0[1-9]")


@dataclass(frozen=True, slots=True)
class Staple:
    """One staple as it sat: ``number`` 1 nearest the head; ``upper_mm`` and ``lower_mm`` where its
    two legs go through, from the head edge; lengths in mm; ``care`` what is to be done with it."""

    id: str
    number: int
    upper_mm: Decimal | None = None
    lower_mm: Decimal | None = None
    upper_leg_mm: Decimal | None = None
    lower_leg_mm: Decimal | None = None
    wire_mm: Decimal | None = None
    crown: Crown = ""
    legs: Legs = ""
    rust: Rust = ""
    care: Care = ""
    note: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.number <= 9:
            raise ValueError(f"staples are numbered 1 to 9 from the head, got {self.number}")
        for name, value, most in (
            ("upper_mm", self.upper_mm, 600), ("lower_mm", self.lower_mm, 600),
            ("upper_leg_mm", self.upper_leg_mm, 30), ("lower_leg_mm", self.lower_leg_mm, 30),
            ("wire_mm", self.wire_mm, 2),
        ):  # fmt: skip
            if value is not None and not 0 < value <= most:
                raise ValueError(f"{name} of a staple lies above 0 and up to {most}, got {value}")
        upper, lower = self.upper_mm, self.lower_mm
        if upper is not None and lower is not None and upper >= lower:
            raise ValueError(
                f"the upper leg lies nearer the head than the lower: got {upper} and {lower} mm"
            )


@dataclass(frozen=True, slots=True)
class SheetFound:
    """A sheet as it was found: ``position`` from the outside (the cover 0), ``faced`` how it lay,
    ``pages`` what is printed on it, outer left, outer right, inner left, inner right, each a
    number, "-" where none is printed, "?" where it cannot be read; empty where nobody looked.

    A single leaf, tipped or laid in (``place`` s01 and so on) or where a wrap should be, has two
    pages, front and back; ``after`` is the page it lay behind (0: before the first)."""

    place: str
    position: int | None = None
    faced: Facing = ""
    pages: str = ""
    note: str = ""
    after: int | None = None

    @property
    def is_leaf(self) -> bool:
        """Whether it is a single leaf and no wrap."""
        return bool(_LEAF.fullmatch(self.place)) or len(self.pages.split()) == 2

    def __post_init__(self) -> None:
        leaf = bool(_LEAF.fullmatch(self.place))
        if not leaf:
            check_sheet(self.place)
        if self.position is not None and not 0 <= self.position <= 99:
            raise ValueError(f"a position counts from 0 (the cover) to 99, got {self.position}")
        words = self.pages.split()
        known = all(re.fullmatch(r"\d{1,4}|-|\?", word) for word in words)
        # Two of a wrap's four that were typed alone do not follow each other, a leaf's do.
        numbers = [int(word) for word in words if word.isdigit()]
        apart = len(words) == len(numbers) == 2 and abs(numbers[0] - numbers[1]) != 1
        if words and (
            len(words) not in ((2,) if leaf else (2, 4)) or not known or (apart and not leaf)
        ):
            usual = (
                ""
                if leaf
                else "four, outer left, outer right, inner left, inner right, or of a single leaf "
            )
            raise ValueError(
                f"printed page numbers are {usual}two, front and back; "
                f'with "-" for none and "?" for unreadable; got {self.pages!r}'
            )
        if self.after is not None and not 0 <= self.after <= 9999:
            raise ValueError(f"the page a leaf lay behind is 0 to 9999, got {self.after}")


@dataclass(frozen=True, slots=True)
class Hole:
    """One staple hole in the sheet's own frame [mm]: ``size_mm`` across (None: not known)."""

    number: int
    x_mm: float | None = None
    y_mm: float | None = None
    u_mm: float | None = None
    size_mm: float | None = None
    state: HoleState = "clean"

    def __post_init__(self) -> None:
        if not 1 <= self.number <= 18:
            raise ValueError(f"holes are numbered 1 to 18 from the head, got {self.number}")
        if self.state not in HOLE_STATES:
            raise ValueError(f"a hole is {', '.join(HOLE_STATES)}, got {self.state!r}")
        if self.state != "missing" and (self.x_mm is None or self.y_mm is None):
            raise ValueError(f"hole {self.number} needs x and y in mm, or the state missing")


@dataclass(frozen=True, slots=True)
class Holes:
    """The staple holes of one sheet: found in ``capture`` by ``run``, or set by a person."""

    place: str
    holes: tuple[Hole, ...]
    capture: str = ""
    run: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_sheet(self.place)
        numbers = [hole.number for hole in self.holes]
        if len(set(numbers)) != len(numbers):
            raise ValueError(f"every hole has a number of its own, got {numbers}")


@dataclass(frozen=True, slots=True)
class Joined:
    """A sheet laid in its place again: how it was laid by the alignment ``run``, or otherwise."""

    place: str
    at: str = ""
    run: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        check_sheet(self.place)


def check_sheet(place: str) -> str:
    """The place, which must name a whole sheet.

    Raises:
        ValueError: when it does not.
    """
    if not _SHEET.fullmatch(place):
        raise ValueError(f"{place!r} names no sheet; write c (cover) or w03 (wrap 3)")
    return place
