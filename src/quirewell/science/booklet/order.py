"""The gathering checked from what is printed on its sheets.

Nested wraps carry pages by one rule (:mod:`.gathering`): of ``n`` wraps, wrap ``i`` holds four
pages that add up in pairs to ``4 n + 1`` (common practice of saddle stitching, no source). So two
numbers on a sheet, even one, say where it belongs, which way it faced, and whether it can belong
here at all. Single leaves among them, counted in the numbers or not, are told by
:mod:`.single_leaf`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from quirewell.science.booklet.order_told import Told
from quirewell.science.booklet.single_leaf import (
    Leaf,
    LeafPlace,
    Numbering,
    Rule,
    settle,
    tell_leaves,
)

FACES = ("outer left", "outer right", "inner left", "inner right")
# How a sheet's four pages come to be read when it lay otherwise than made, by their positions.
_TURNS: tuple[tuple[str, tuple[int, int, int, int]], ...] = (
    ("as made", (0, 1, 2, 3)),
    ("inside out", (2, 3, 0, 1)),
    ("head down", (1, 0, 3, 2)),
    ("inside out and head down", (3, 2, 1, 0)),
)


@dataclass(frozen=True, slots=True)
class Found:
    """A sheet as it was found: ``position`` from the outside, 1 = outermost wrap; its four printed
    pages as :data:`FACES`, a number, None where none is printed, or "?" where it is unreadable."""

    name: str
    position: int
    pages: tuple[int | Literal["?"] | None, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a sheet belongs: ``wrap`` (None: nothing printed says), and how it faced."""

    name: str
    wrap: int | None
    faced: str


@dataclass(frozen=True, slots=True)
class Order:
    """The whole check. ``pairs``: for each wrap the four pages it must carry, single leaves that
    the numbering counts left out; ``leaves``: where those belong."""

    places: tuple[Place, ...]
    told: tuple[Told, ...]
    pairs: tuple[tuple[int, tuple[int, int, int, int]], ...]
    read: int
    leaves: tuple[LeafPlace, ...] = ()


def check_order(
    sheets: Sequence[Found], wraps: int, first_page: int = 1, unseen: int = 0,
    leaves: Sequence[Leaf] = (),
) -> Order:  # fmt: skip
    """Check the wraps of a gathering (its cover left out) from what is printed on them.

    Parameters
    ----------
    sheets
        as found, in any order
    wraps
        of the gathering as it should be [-]
    first_page
        number printed on the first interior page
    unseen
        wraps that are there, or may be, and of which nothing was read
    leaves
        single leaves, which are no wraps

    Raises
    ------
    ValueError
        no wraps, a sheet without four pages, two sheets at one place from the outside, a leaf said
        to lie where none can, too many of them
    """
    _check(sheets, wraps)
    numbered = [sheet for sheet in sheets if any(isinstance(page, int) for page in sheet.pages)]

    def agree(rule: Rule) -> int:
        return sum(bool(_fits(sheet, rule)) for sheet in numbered)

    numbering = settle(leaves, wraps, first_page, agree, len(numbered))
    places, told = [], []
    for sheet in sorted(sheets, key=lambda one: one.position):
        place, more = _place(sheet, numbering, first_page)
        places.append(place)
        told += more
    held = {place.wrap for place in places if place.wrap is not None}
    single, more, halves = tell_leaves(leaves, numbering, held, first_page)
    told += _doubled(places) + _gone(places, numbering.rule, unseen, held | halves)
    told += _sequence(sheets, places) + more
    read = sum(place.wrap is not None for place in places)
    pairs = tuple(numbering.rule.items())
    return Order(tuple(places), tuple(told), pairs, read, tuple(single))


def _check(sheets: Sequence[Found], wraps: int) -> None:
    if not 1 <= wraps <= 99:
        raise ValueError(f"wraps must be between 1 and 99, got {wraps}")
    for sheet in sheets:
        if len(sheet.pages) != 4:
            raise ValueError(f"{sheet.name} needs four pages ({', '.join(FACES)})")
    at = Counter(sheet.position for sheet in sheets)
    for position, count in sorted(at.items()):
        if count > 1:
            names = [one.name for one in sheets if one.position == position]
            raise ValueError(f"{' and '.join(names)} cannot both be number {position} from outside")


def _fits(sheet: Found, rule: Rule) -> list[tuple[int, str]]:
    """Each wrap, and each way it may have lain, that shows the sheet's numbers."""
    numbers = {at: page for at, page in enumerate(sheet.pages) if isinstance(page, int)}
    return [
        (wrap, name)
        for wrap, made in rule.items()
        for name, turn in _TURNS
        if all(made[turn[at]] == page for at, page in numbers.items())
    ]


def _place(sheet: Found, numbering: Numbering, first_page: int) -> tuple[Place, list[Told]]:
    rule, last = numbering.rule, numbering.last
    numbers = {at: page for at, page in enumerate(sheet.pages) if isinstance(page, int)}
    if not numbers:
        if any(page == "?" for page in sheet.pages):
            says = f"{sheet.name}: no page number could be read; its place is not checked"
            return Place(sheet.name, None, ""), [Told("unread", sheet.name, says)]
        says = f"{sheet.name}: no number on any page: an insert, or its place cannot be checked"
        return Place(sheet.name, None, ""), [Told("insert", sheet.name, says)]
    outside = [page for page in numbers.values() if not first_page <= page <= last]
    if outside:
        says = (
            f"{sheet.name}: page {outside[0]} cannot be in an item of pages {first_page} to {last}"
        )
        return Place(sheet.name, None, ""), [Told("foreign", sheet.name, says)]
    fits = _fits(sheet, rule)
    if not fits:
        return Place(sheet.name, None, ""), [_misfit(sheet, numbers, numbering, first_page + last)]
    own = [fit for fit in fits if fit[1] == "as made"] or fits
    wrap, faced = own[0]
    blank = [at for at, page in enumerate(sheet.pages) if page is None]
    told = []
    if faced != "as made":
        read = ", ".join(f"{page} {FACES[at]}" for at, page in numbers.items())
        says = f"{sheet.name} lay {faced}: it shows {read}, as wrap {wrap} does when turned so"
        told.append(Told("reversed", sheet.name, says))
    if blank and len(numbers) + len(blank) == 4:
        words = ", ".join(
            f"page {rule[wrap][dict(_TURNS)[faced][at]]} ({FACES[at]})" for at in blank
        )
        told.append(Told("blank verso", sheet.name, f"{sheet.name}: no number on {words}"))
    return Place(sheet.name, wrap, faced), told


def _misfit(sheet: Found, numbers: dict[int, int], numbering: Numbering, total: int) -> Told:
    """Why a sheet's numbers belong together on no wrap of this item."""
    words = ", ".join(str(page) for page in numbers.values())
    at = {page: wrap for wrap, made in numbering.rule.items() for page in made}
    single = [page for page in numbers.values() if page not in at]
    if single:
        says = (
            f"{sheet.name}: page {single[0]} is that of a single leaf the numbering counts, which "
            "no wrap carries"
        )
        return Told("foreign", sheet.name, says)
    owners = {at[page] for page in numbers.values()}
    sums = [
        numbers[one] + numbers[two]
        for one, two in ((0, 1), (2, 3))
        if one in numbers and two in numbers
    ]
    wrong = [one for one in sums if one != total]
    if wrong and not numbering.counted:
        says = (
            f"{sheet.name}: pages {words} cannot be on one wrap: two on a side add up to {wrong[0]}"
            f", here they must add up to {total}"
        )
        return Told("foreign", sheet.name, says)
    says = (
        f"{sheet.name}: pages {words} belong to wraps {', '.join(map(str, sorted(owners)))}, no "
        "single one; look again, or it is of another copy"
    )
    return Told("foreign", sheet.name, says)


def _doubled(places: Iterable[Place]) -> list[Told]:
    by_wrap: dict[int, list[str]] = {}
    for place in places:
        if place.wrap is not None:
            by_wrap.setdefault(place.wrap, []).append(place.name)
    return [
        Told("doubled", names[1], f"{' and '.join(names)} both carry the pages of wrap {wrap}")
        for wrap, names in sorted(by_wrap.items())
        if len(names) > 1
    ]


def _gone(places: Sequence[Place], rule: Rule, unseen: int, held: set[int]) -> list[Told]:
    """Wraps whose pages nothing found carries (``held`` are carried), where there are more of them
    than sheets of which nothing is known."""
    unplaced = unseen + sum(place.wrap is None for place in places)
    gone = [wrap for wrap in rule if wrap not in held]
    if unplaced >= len(gone):
        return []
    return [
        Told(
            "missing", "",
            f"wrap {wrap} is not there: nothing carries pages "
            f"{', '.join(str(page) for page in sorted(rule[wrap]))}"
            + (f", unless it is one of {unplaced} that could not be placed" if unplaced else ""),
        )
        for wrap in gone
    ]  # fmt: skip


def _sequence(sheets: Sequence[Found], places: Sequence[Place]) -> list[Told]:
    """Sheets found elsewhere than where the others say: the fewest that spoil the sequence."""
    at = {sheet.name: sheet.position for sheet in sheets}
    known = [place for place in places if place.wrap is not None]
    right = _longest_rising([place.wrap or 0 for place in known])
    return [
        Told(
            "out of order", place.name,
            f"{place.name} was number {at[place.name]} from the outside; its pages are those of "
            f"wrap {place.wrap}",
        )
        for index, place in enumerate(known)
        if index not in right
    ]  # fmt: skip


def _longest_rising(values: Sequence[int]) -> set[int]:
    """Indices of a longest run that does not fall."""
    best: list[list[int]] = []
    for index, value in enumerate(values):
        before = [run for run in best if values[run[-1]] <= value]
        best.append([*_longest(before), index])
    return set(_longest(best))


def _longest(runs: Sequence[list[int]]) -> list[int]:
    return max(runs, key=lambda run: len(run), default=[])
