"""Prove: what the comparison shows, what it could have missed, and what was not measured."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from quirewell.record.nouns import ItemState
from quirewell.stages.asking import PLUS_MINUS_SAYS, say
from quirewell.stages.evidence import briefly
from quirewell.stages.examine import known_sheets
from quirewell.stages.ink_lines import InkLine, ink_lines
from quirewell.stages.results import (
    NOTHING,
    PageResult,
    Shown,
    listed,
    page_results,
)

WIDTH, HEIGHT, COLOUR = "change.width_pct", "change.height_pct", "paper.dE00"
_MEANT = {
    ("unchanged", True): "Size held within the limit set beforehand",
    ("unchanged", False): "No change of size seen",
    ("changed", False): "Size changed",
    ("cannot tell", False): "Cannot tell",
}

# What a home bench cannot measure at all; said in every report.
_NEVER = (
    "The strength of the paper and how many folds it bears: that takes a test that destroys it.",
    "The acidity inside the fibres: strips and a flat electrode read the surface only.",
    "How the paper will age: every outlook is an estimate, never a measurement.",
)


@dataclass(frozen=True, slots=True)
class PairView:
    """One page compared: change, what would have been seen, and the verdict."""

    place: str
    sheet: str
    name: str
    width_before: Shown
    height_before: Shown
    width_change: Shown
    height_change: Shown
    width_change_mm: Shown
    height_change_mm: Shown
    smallest: Shown
    colour_change: Shown
    verdict: Shown
    verdict_short: Shown
    word: str
    warnings: tuple[str, ...]
    run: str
    inks: tuple[InkLine, ...] = ()

    @property
    def inks_changed(self) -> tuple[InkLine, ...]:
        """The inks of the page that were found changed."""
        return tuple(ink for ink in self.inks if ink.changed)


@dataclass(frozen=True, slots=True)
class Total:
    """One line of the summary: a count or an extreme, with what it was taken from."""

    says: str
    value: Shown
    where: str = ""


@dataclass(frozen=True, slots=True)
class ProveView:
    """The prove page: pairs, totals, and openly what is not known."""

    pairs: tuple[PairView, ...]
    unpaired: tuple[PageResult, ...]
    totals: tuple[Total, ...]
    not_measured: tuple[str, ...]
    plus_minus: str
    margins: tuple[tuple[str, Shown], ...]
    reports: tuple[tuple[str, str, str], ...]
    evidence: tuple[tuple[str, str], ...] = ()


_EXTREMES: tuple[tuple[str, Callable[[PairView], Shown]], ...] = (
    ("Largest change of width", lambda pair: pair.width_change),
    ("Largest change of height", lambda pair: pair.height_change),
    ("Change of size surely seen on every page, from", lambda pair: pair.smallest),
    ("Largest colour difference of the paper (CIEDE2000)", lambda pair: pair.colour_change),
)


def prove_view(state: ItemState) -> ProveView:
    """Everything the prove page and the report's results chapter show."""
    results = page_results(state)
    pairs = tuple(_pair(entry) for entry in results if entry.pair is not None)
    return ProveView(
        pairs,
        tuple(entry for entry in results if entry.pair is None),
        totals(pairs),
        not_measured(state, results),
        f"In all tables {PLUS_MINUS_SAYS}.",
        tuple(
            (
                margin.quantity,
                Shown(
                    f"{margin.value} {margin.unit}",
                    (f"margin.{margin.quantity}",),
                    "record:value",
                    float(margin.value),
                    None,
                    margin.unit,
                ),
            )
            for margin in state.margins.values()
        ),
        tuple((entry.id, entry.sha256, entry.title) for entry in state.reports.values()),
        briefly(state),
    )


def _pair(entry: PageResult) -> PairView:
    assert entry.pair is not None
    smallest = entry.change("change.smallest_detectable_pct")
    if not smallest:
        found = [entry.smallest(quantity) for quantity in (WIDTH, HEIGHT)]
        smallest = max((s for s in found if s), key=lambda s: s.value or 0.0, default=NOTHING)
    return PairView(
        entry.place,
        entry.sheet,
        entry.name,
        entry.at("before", "leaf.width_mm"),
        entry.at("before", "leaf.height_mm"),
        entry.change(WIDTH),
        entry.change(HEIGHT),
        in_mm(entry.change(WIDTH), entry.at("before", "leaf.width_mm")),
        in_mm(entry.change(HEIGHT), entry.at("before", "leaf.height_mm")),
        smallest,
        entry.change(COLOUR),
        entry.verdict,
        entry.verdict_short,
        entry.verdict_word,
        entry.warnings,
        entry.pair.id,
        ink_lines(entry.pair),
    )


def in_mm(change_pct: Shown, length_mm: Shown) -> Shown:
    """A change of size in millimetres, from its per cent and the size before; NOTHING without both.

    Both uncertainties enter (first order, independent: ``jcgm100`` 5.1.2); none without both.
    """
    if change_pct.value is None or length_mm.value is None:
        return NOTHING
    value = change_pct.value / 100 * length_mm.value
    u = None
    if change_pct.u is not None and length_mm.u is not None:
        u = math.hypot(change_pct.u / 100 * length_mm.value, length_mm.u / 100 * change_pct.value)
    sign = "+" if value > 0 else ""
    refs = (*change_pct.refs, *length_mm.refs)
    name = change_pct.quantity.replace("_pct", "_mm")
    return Shown(f"{sign}{say(value, u, 'mm')}", refs, name, value, u, "mm")


def totals(pairs: tuple[PairView, ...]) -> tuple[Total, ...]:
    """Counts by verdict, and the largest of each change."""
    if not pairs:
        return ()
    rows = [Total("Pages compared", _count(pairs))]
    groups = Counter(_meant(pair) for pair in pairs if pair.word)
    for says in _MEANT.values():
        if groups[says]:
            rows.append(Total(says, _count(tuple(p for p in pairs if _meant(p) == says))))
    for says, pick in _EXTREMES:
        known = [pair for pair in pairs if pick(pair).value is not None]
        if known:
            top = max(known, key=lambda pair: abs(pick(pair).value or 0.0))
            rows.append(Total(says, pick(top), top.name))
    return (*rows, *_ink_totals(pairs))


def _ink_totals(pairs: tuple[PairView, ...]) -> list[Total]:
    """The inks found changed, the most changed first; else what would have been seen of any."""
    inks = [(pair, ink) for pair in pairs for ink in pair.inks if ink.own.value is not None]
    changed = [(pair, ink) for pair, ink in inks if ink.changed]
    if not changed:
        seen = [(pair, ink) for pair, ink in inks if ink.smallest.value is not None]
        top = max(seen, key=lambda entry: entry[1].smallest.value or 0.0, default=None)
        if top is None or any(ink.verdict.startswith("cannot tell") for _, ink in inks):
            return []
        where = f"{top[0].name}: {top[1].name}"
        return [
            Total(
                "No ink found changed (CIEDE2000); surely seen on every page, from",
                top[1].smallest,
                where,
            )
        ]
    changed.sort(key=lambda entry: -(entry[1].own.value or 0.0))
    return [
        Total(
            f"Change of the {ink.name} (CIEDE2000)",
            ink.own,
            f"{pair.name}: {ink.brief}",
        )
        for pair, ink in changed
    ]


def _meant(pair: PairView) -> str:
    """What a verdict means, in the words of the summary."""
    held = "set beforehand" in pair.verdict.text
    return _MEANT.get((pair.word, held and pair.word == "unchanged"), "")


def _count(pairs: tuple[PairView, ...]) -> Shown:
    refs = tuple(pair.verdict.refs[0] if pair.verdict else f"run:{pair.run}" for pair in pairs)
    return Shown(str(len(pairs)), refs, "count", float(len(pairs)), None, "")


def not_measured(state: ItemState, results: tuple[PageResult, ...]) -> tuple[str, ...]:
    """What this record does not hold, said openly; the last rows are true of every record."""
    rows: list[str] = []
    paired = {entry.sheet for entry in results if entry.pair is not None}
    measured = {entry.sheet for entry in results}
    sheets = known_sheets(state)
    unseen = [sheet for sheet in sheets if sheet not in measured]
    half = [sheet for sheet in sheets if sheet in measured and sheet not in paired]
    if unseen:
        rows.append(f"Size and paper colour of {listed(unseen)}: not measured.")
    if half:
        rows.append(f"The change of {listed(half)}: measured once, so no change can be given.")
    for quantity, says in (
        ("ph", "pH: no reading was taken."),
        ("mass", "Mass: no leaf was weighed."),
        ("thickness", "Thickness: no reading was taken."),
    ):
        kinds = [entry.quantity.lower() for entry in state.readings.values()]
        if not any(kind.startswith(quantity) for kind in kinds):
            rows.append(says)
    baths = [entry for entry in state.baths.values() if entry.run in state.runs]
    if baths:
        rows.append(
            "The alkali left in the leaves: the figure given is computed from the bath, not "
            "measured in the paper."
        )
    return (*rows, *_NEVER)
