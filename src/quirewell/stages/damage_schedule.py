"""The schedule of defects: every defect of an item, numbered, with how far it reaches.

Only what was accepted stands in it: what a person typed or drew, and what the program proposed
and a person took. Page, command line, report and drawing read the same lines.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.record.cells import guarded as guarded
from quirewell.record.nouns import Defect, ItemState
from quirewell.record.regions import Region, read_region, write_region
from quirewell.stages.asking import say
from quirewell.stages.drawn_extent import Extent, drawn_extents, noted_rest
from quirewell.stages.naming import place_words, sheet_of
from quirewell.stages.results import page_name, place_order

Family = str
# How the record's words for damage are drawn, a family each; every other word is "other".
FAMILIES: dict[Family, tuple[str, ...]] = {
    "loss": ("loss", "insect damage", "pest", "missing", "coupon", "hole"),
    "tear": ("tear", "spine split", "fold split", "split", "staple pull"),
    "crease": ("corner crease", "fold", "crease", "spine roll", "cockling", "cockle"),
    "stain": ("tideline", "foxing", "rust stain", "tanned margin", "soiling", "stain", "mould",
              "rusted staple"),
    "rub": ("ink rub", "offset", "abrasion", "fading", "brittle edge"),
    "mark": ("writing", "old tape", "tape", "stamp", "label"),
}  # fmt: skip
OTHER = "other"
BY_HAND, TAKEN, TYPED = "drawn by hand", "proposed and accepted", "typed"
COLUMNS = (
    "number", "where", "place", "defect", "severity", "seen", "extent", "measured", "u", "unit",
    "region", "u_mm", "note", "source",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """One defect of the schedule. ``measured`` is what drawing it told, that which its rule counts
    first; ``extent`` what stands besides in words."""

    number: int
    id: str
    place: str
    where: str
    term: str
    family: Family
    severity: str
    moment: str
    extent: str
    measured: tuple[Extent, ...]
    note: str
    source: str
    region: Region | None
    u_mm: float | None

    @property
    def said(self) -> str:
        """The measured extent in words: "42.0 ± 1.4 mm"; empty where nothing was drawn."""
        return ", ".join(map(extent_words, self.measured))


@dataclass(frozen=True, slots=True)
class Sum:
    """All defects of one word at one moment: their ids, those drawn added up by unit."""

    term: str
    moment: str
    ids: tuple[str, ...]
    drawn: tuple[tuple[Extent, tuple[str, ...]], ...]

    @property
    def in_words(self) -> int:
        """How many of them were not drawn."""
        return len(self.ids) - sum(len(ids) for _, ids in self.drawn)


def schedule(state: ItemState) -> tuple[Line, ...]:
    """Every accepted defect, numbered: the whole item first, then sheet by sheet."""
    found = [one for one in state.defects.values() if not _rejected(one, state)]
    found.sort(key=lambda one: _order(one.place))
    return tuple(_line(number, one, state) for number, one in enumerate(found, 1))


def _rejected(defect: Defect, state: ItemState) -> bool:
    answer = state.answered.get(defect.proposal) if defect.proposal else None
    return answer is not None and answer.answer == "rejected"


def _order(place: str) -> tuple[int, tuple[bool, str, int] | str]:
    if sheet_of(place):
        return 2, place_order(place)
    return (0, "") if place == "item" else (1, place)


def _line(number: int, one: Defect, state: ItemState) -> Line:
    region, measured = read_region(one.region), drawn_extents(one)
    return Line(
        number, one.id, one.place, where_words(one.place, state), one.term, family_of(one.term),
        one.severity, one.moment, noted_rest(one.extent) if measured else one.extent, measured,
        one.note,
        TAKEN if one.proposal else BY_HAND if region else TYPED, region, one.u_mm,
    )  # fmt: skip


def where_words(place: str, state: ItemState) -> str:
    """A place as the schedule names it: "Wrap 3, outer side, left: page 32"."""
    if sheet_of(place):
        return page_name(place, state)
    words = place_words(place)
    return words[:1].upper() + words[1:]


def family_of(term: str) -> Family:
    """The family a word for damage is drawn as.

    >>> family_of("Tear"), family_of("tear at the foot"), family_of("tideline"), family_of("smell")
    ('tear', 'tear', 'stain', 'other')
    """
    word = term.strip().lower()
    for family, terms in FAMILIES.items():
        if word in terms:
            return family
    words = set(word.replace(",", " ").split())
    for family, terms in FAMILIES.items():
        if any(set(one.split()) <= words for one in terms):
            return family
    return OTHER


def extent_words(extent: Extent) -> str:
    """An extent in words, rounded to its uncertainty.

    >>> extent_words(Extent(42.0, 0.7, "mm")), extent_words(Extent(1.0, 0.0, "n"))
    ('42.0 ± 1.4 mm', '1 place')
    >>> extent_words(Extent(42.26, None, "mm"))
    '42.3 mm, ± not said'
    """
    if extent.unit == "n":
        return f"{extent.value:.0f} place{'' if extent.value == 1 else 's'}"
    if not extent.u:
        return f"{say(float(f'{extent.value:.3g}'), None, extent.unit)}, ± not said"
    return say(extent.value, extent.u, extent.unit)


def sums(lines: Iterable[Line]) -> tuple[Sum, ...]:
    """Defects added up by word and moment, those before treatment first."""
    groups: dict[tuple[str, str], list[Line]] = {}
    for line in lines:
        groups.setdefault((line.moment, line.term.strip().lower()), []).append(line)
    return tuple(
        Sum(mine[0].term, moment, tuple(one.id for one in mine), _added(mine))
        for (moment, _), mine in sorted(groups.items(), key=lambda one: one[0][0] != "before")
    )


def _added(lines: Iterable[Line]) -> tuple[tuple[Extent, tuple[str, ...]], ...]:
    by: dict[str, list[tuple[Extent, str]]] = {}
    for line in lines:
        # Shares of different pages do not add up.
        sized = [one for one in line.measured if one.unit != "pct"]
        if sized:
            by.setdefault(sized[0].unit, []).append((sized[0], line.id))
    return tuple(
        (added([extent for extent, _ in mine]), tuple(id for _, id in mine)) for mine in by.values()
    )


def added(extents: list[Extent]) -> Extent:
    """Extents of one unit added up, each drawn for itself (independent).

    >>> added([Extent(3.0, 0.3, "mm"), Extent(5.0, 0.4, "mm")])
    Extent(value=8.0, u=0.5, unit='mm')
    """
    us = [one.u for one in extents if one.u is not None]
    u = math.hypot(*us) if len(us) == len(extents) else None
    return Extent(math.fsum(one.value for one in extents), u, extents[0].unit)


def schedule_csv(lines: Iterable[Line]) -> str:
    """The schedule as CSV, safe to open in a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in lines:
        extent = one.measured[0] if one.measured else None
        writer.writerow(
            [
                str(one.number), *map(guarded, (one.where, one.place, one.term)), one.severity,
                f"{one.moment} treatment", guarded(one.extent),
                "" if extent is None else f"{extent.value:.2f}".rstrip("0").rstrip("."),
                "" if extent is None or extent.u is None else f"{extent.u:.3g}",
                "" if extent is None else extent.unit,
                "" if one.region is None else write_region(one.region),
                "" if one.u_mm is None else f"{one.u_mm:g}", guarded(one.note), one.source,
            ]
        )  # fmt: skip
    return out.getvalue()
