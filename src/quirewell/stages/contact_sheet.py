"""All pairs of an item on one sheet: what changed on each page, and what treatment could not mend.

Read off findings alone: no picture is opened here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState, Remaining
from quirewell.science.colour.ways import surely
from quirewell.stages.ink_lines import InkInAll, InkLine, inks_in_all
from quirewell.stages.light_lines import LightInAll, LightLine, light_in_all, light_line
from quirewell.stages.naming import place_words
from quirewell.stages.prove import PairView, prove_view
from quirewell.stages.results import PageResult, Shown, page_results

CHANGED, UNCHANGED, UNTOLD = "changed", "unchanged", "cannot tell"
WORDS = (CHANGED, UNCHANGED, UNTOLD)
LOOKS = (("all", "anything"), ("size", "size"), ("paper", "paper colour"), ("inks", "inks"))
WIDE_PX, HIGH_PX = 180, 250


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """One pair: a word each for size, paper colour and inks, and its small picture's size [px];
    ``registered`` says whether the two lie on each other, so that small pictures can be made."""

    place: str
    name: str
    run: str
    words: Mapping[str, str]
    width_px: int
    height_px: int
    registered: bool
    paper: Shown
    light: LightLine
    inks: tuple[InkLine, ...]


@dataclass(frozen=True, slots=True)
class Still:
    """Something seen after treatment as well as before: what, where, and how much."""

    what: str
    name: str
    place: str
    before: Shown
    after: Shown


@dataclass(frozen=True, slots=True)
class ContactSheet:
    """The page of all pairs."""

    entries: tuple[SheetEntry, ...]
    total: int
    counts: Mapping[str, int]
    light: LightInAll
    inks: tuple[InkInAll, ...]
    remaining: tuple[tuple[Remaining, str, SheetEntry | None], ...]
    still: tuple[Still, ...]
    bled: tuple[tuple[SheetEntry, InkLine], ...]


def contact_sheet(state: ItemState, show: str = "", look: str = "all") -> ContactSheet:
    """All pairs, those with the word ``show`` in what is looked at (``look``) kept on the sheet."""
    pairs = prove_view(state).pairs
    every = [_entry(pair, state.runs[pair.run]) for pair in pairs]
    look = look if look in dict(LOOKS) else "all"
    kept = tuple(one for one in every if show not in WORDS or one.words[look] == show)
    return ContactSheet(
        kept,
        len(every),
        {word: sum(one.words[look] == word for one in every) for word in WORDS},
        light_in_all(one.light for one in every),
        inks_in_all((one.place, one.name, one.inks) for one in every),
        tuple(_left(entry, every) for entry in state.remaining.values()),
        still_there(page_results(state)),
        tuple((one, ink) for one in every for ink in one.inks if ink.bled),
    )


def _entry(pair: PairView, run: Run) -> SheetEntry:
    own = {"size": pair.word or UNTOLD, "paper": paper_word(run), "inks": inks_word(pair.inks)}
    wide, high = _size(run.drawing.get("before_size_px", ""))
    return SheetEntry(
        pair.place, pair.name, run.id, own | {"all": _all(tuple(own.values()))}, wide, high,
        "before_to_after_px" in run.drawing, pair.colour_change,
        light_line(run, pair.place, pair.name), pair.inks,
    )  # fmt: skip


def _size(text: str) -> tuple[int, int]:
    """The size of a small picture [px] that keeps the shape of the whole one."""
    parts = text.split()
    if len(parts) != 2 or not all(part.isdigit() and int(part) for part in parts):
        return WIDE_PX, HIGH_PX
    wide, high = (int(part) for part in parts)
    shrink = max(wide / WIDE_PX, high / HIGH_PX)
    return max(1, round(wide / shrink)), max(1, round(high / shrink))


def paper_word(run: Run) -> str:
    """Whether the paper's colour changed: any of L*, a* and b* surely, three looks at 5 %."""
    found = {finding.quantity: finding for finding in run.findings}
    parts = [found.get(f"paper.d{axis}") for axis in "Lab"]
    known = [(one.value, one.u) for one in parts if one is not None and one.value is not None]
    if len(known) < 3 or any(u is None for _, u in known):
        return UNTOLD
    called = any(surely(value or 0.0, u or 0.0) for value, u in known)
    return CHANGED if called else UNCHANGED


def inks_word(inks: tuple[InkLine, ...]) -> str:
    """Whether any ink of a page changed."""
    if any(ink.changed for ink in inks):
        return CHANGED
    return UNTOLD if not inks or any(ink.untold for ink in inks) else UNCHANGED


def _all(words: tuple[str, ...]) -> str:
    return next((word for word in (CHANGED, UNTOLD) if word in words), UNCHANGED)


def _left(entry: Remaining, every: list[SheetEntry]) -> tuple[Remaining, str, SheetEntry | None]:
    """What the practitioner noted as left: its place in words, and a page whose pair shows it."""
    place = entry.place
    here = [one for one in every if one.place == place or one.place.startswith(f"{place}.")]
    words = "the whole" if place == "item" else place_words(place)
    return entry, words[:1].upper() + words[1:], here[0] if here else None


_STILL: tuple[tuple[str, str], ...] = (
    ("stains.area_pct", "Stained share of the paper"),
    ("leaf.loss_mm2", "Missing area"),
)


def still_there(pages: tuple[PageResult, ...]) -> tuple[Still, ...]:
    """Tears, stains and losses seen after as well as before, on pages measured at both moments."""
    rows = []
    for quantity, what in _STILL:
        rows += [
            Still(what, page.name, page.place, page.at("before", quantity), after)
            for page in pages
            if _there(page.at("before", quantity)) and _there(after := page.at("after", quantity))
        ]
    rows += [
        Still("Open tears", page.name, page.place, before, after)
        for page in pages
        if _torn(before := page.at("before", "leaf.tears_seen"))
        and _torn(after := page.at("after", "leaf.tears_seen"))
    ]
    return tuple(rows)


def _there(one: Shown) -> bool:
    return one.value is not None and one.u is not None and one.value > 1.96 * one.u


def _torn(one: Shown) -> bool:
    return bool(one) and not one.text.startswith(("no open", "cannot", "not "))
