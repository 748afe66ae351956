"""Measured results as people read them: per page of the item, before, after and the change.

Page, command line and report take their numbers from here, each with the id of the finding
it came from.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from quirewell.record.finding import Finding, Run
from quirewell.record.measured import Measured
from quirewell.record.nouns import Capture, ItemState, Reading
from quirewell.stages.asking import as_read, beside, say, signed
from quirewell.stages.correcting import standing
from quirewell.stages.naming import leaf_of, page_number, place_words, sheet_of

MEASURE, COMPARE = "leaf.measure", "pair.compare"


@dataclass(frozen=True, slots=True)
class Shown:
    """A number (or verdict) as shown, and what it came from.

    ``refs`` are ids of findings or records (a reading, a step); a count may have many.
    ``value`` and ``unit`` are what recheck compares; ``value`` is None for words.
    """

    text: str
    refs: tuple[str, ...]
    quantity: str = ""
    value: float | None = None
    u: float | None = None
    unit: str = ""

    def __bool__(self) -> bool:
        return bool(self.text)


NOTHING = Shown("", ())
SIGNED = frozenset(("change.width_pct", "change.height_pct"))


def show(measured: Measured) -> str:
    """A measured value with its expanded uncertainty (about 95 %) and unit, rounded to it.

    >>> show(Measured(168.4213, 0.024, "mm"))
    '168.421 ± 0.048 mm'
    """
    return say(measured.value, measured.u, measured.unit)


def shown(finding: Finding | None) -> Shown:
    """A finding as shown; NOTHING when there is none."""
    if finding is None:
        return NOTHING
    if finding.value is None:
        return Shown(finding.text, (finding.id,), finding.quantity)
    text = show(finding.measured())
    if finding.u is None:
        text = beside(two_figures(finding.value), finding.unit)
    if finding.quantity in SIGNED:
        text = signed(finding.quantity, text)
    return Shown(
        text,
        (finding.id,),
        finding.quantity,
        finding.value,
        finding.u,
        finding.unit,
    )


def two_figures(value: float) -> str:
    """A value without its own uncertainty, to two figures, the last one kept though it is 0.

    >>> [two_figures(value) for value in (2.0, 0.26, -0.0123, 184.0)]
    ['2.0', '0.26', '−0.012', '184']
    """
    places = 1 - math.floor(math.log10(abs(value))) if value else 0
    return f"{value:.{max(0, places)}f}".replace("-", "\u2212")


def shown_smallest(finding: Finding | None) -> Shown:
    """The smallest change a finding would have shown, as shown."""
    if finding is None or finding.smallest_seen is None:
        return NOTHING
    text = beside(two_figures(finding.smallest_seen), finding.unit)
    return Shown(
        text,
        (finding.id,),
        f"{finding.quantity}:smallest_seen",
        finding.smallest_seen,
        None,
        finding.unit,
    )


def shown_reading(reading: Reading) -> Shown:
    """A reading as it was taken, digit for digit."""
    text = as_read(reading.value, reading.unit)
    if reading.off_scale:
        text = f"{reading.off_scale} {text}"
    return Shown(text, (reading.id,), reading.quantity, float(reading.value), None, reading.unit)


@dataclass(frozen=True, slots=True)
class PageResult:
    """All measured results of one page (or whole side) of a sheet."""

    place: str
    sheet: str
    leaf: str
    name: str
    before: Run | None
    after: Run | None
    pair: Run | None

    def at(self, moment: str, quantity: str) -> Shown:
        """Quantity measured ``before`` or ``after``."""
        return shown(_of(self.before if moment == "before" else self.after, quantity))

    def change(self, quantity: str) -> Shown:
        """Quantity of the comparison."""
        return shown(_of(self.pair, quantity))

    def smallest(self, quantity: str) -> Shown:
        """Smallest change of ``quantity`` that would have been seen."""
        return shown_smallest(_of(self.pair, quantity))

    @property
    def verdict(self) -> Shown:
        """The verdict on the size, in words."""
        return self.change("verdict")

    @property
    def verdict_word(self) -> str:
        """The verdict as one of "changed", "unchanged", "cannot tell", or empty."""
        words = self.verdict.text
        return next((w for w in ("changed", "unchanged", "cannot tell") if words.startswith(w)), "")

    @property
    def verdict_short(self) -> Shown:
        """The verdict without its numbers: "unchanged within 0.5 %", "changed (width)"."""
        return replace(self.verdict, text=re.split(r"[:,]", self.verdict.text)[0])

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the methods warned of, each once."""
        runs = [run for run in (self.before, self.after, self.pair) if run is not None]
        return tuple(dict.fromkeys(says for run in runs for says in run.warnings))


def _of(run: Run | None, quantity: str) -> Finding | None:
    if run is None:
        return None
    return next((entry for entry in run.findings if entry.quantity == quantity), None)


def latest_runs(state: ItemState, method: str) -> dict[tuple[str, str], Run]:
    """The run of ``method`` that holds for each subject and moment (moment empty for a pair).

    It is the latest, but one made with the correction that holds now goes before all others.
    """
    found: dict[tuple[str, str], Run] = {}
    for run in sorted(state.runs.values(), key=lambda run: standing(state, run)):
        if run.method != method:
            continue
        capture = captured(state, run, "image") if method == MEASURE else None
        moment = (capture.moment or "before") if capture else ""
        found[(run.subject, moment)] = run
    return found


def captured(state: ItemState, run: Run, role: str) -> Capture | None:
    """The picture a run took in ``role``, if it is still in the record."""
    for entry in run.inputs:
        if entry.role == role:
            return state.captures.get(entry.ref)
    return None


def page_results(state: ItemState) -> tuple[PageResult, ...]:
    """Results of every page that has any, cover first, then wraps from the outside in."""
    measured = latest_runs(state, MEASURE)
    compared = latest_runs(state, COMPARE)
    places = {place for place, _ in measured} | {place for place, _ in compared}
    return tuple(
        PageResult(
            place,
            sheet_of(place),
            leaf_of(place),
            page_name(place, state),
            measured.get((place, "before")),
            measured.get((place, "after")),
            compared.get((place, "")),
        )
        for place in sorted(places, key=place_order)
        if sheet_of(place)
    )


def place_order(place: str) -> tuple[bool, str, int]:
    """Sorting key: cover, then wraps from the outside in; a sheet's pages as they are read."""
    sheet, _, face = place.partition(".")
    read = ("outer", "outer.right", "inner", "inner.left", "inner.right", "outer.left")
    return (sheet != "c", sheet, read.index(face) if face in read else -1)


def page_name(place: str, state: ItemState) -> str:
    """A page's name as the results call it: "Wrap 3, outer side, left: page 32"."""
    words = place_words(place)
    number = page_number(place, state.gathering) if state.gathering else None
    cover = {
        "c.outer.right": "Front cover",
        "c.outer.left": "Back cover",
        "c.inner.left": "Inside front cover",
        "c.inner.right": "Inside back cover",
    }
    name = cover.get(place, words[:1].upper() + words[1:])
    return f"{name}: page {number}" if number is not None else name


def listed(places: Iterable[str]) -> str:
    """Places in words, runs of whole wraps drawn together.

    >>> listed(["c", "w01", "w02", "w03", "w07", "spine"])
    'cover, wraps 1 to 3, wrap 7, spine'
    """
    words: list[str] = []
    run: list[int] = []
    for place in (*places, ""):
        wrap = int(place[1:]) if place[:1] == "w" and place[1:].isdigit() else None
        if run and wrap != run[-1] + 1:
            words += _wrap_words(run)
            run = []
        if wrap is not None:
            run.append(wrap)
        elif place:
            words.append(place_words(place))
    return ", ".join(words)


def in_order(places: Iterable[str]) -> list[str]:
    """Places once each, cover first, then wraps from the outside in, then the rest.

    >>> in_order(["w05", "c", "w02", "w05", "item"])
    ['c', 'w02', 'w05', 'item']
    """
    return sorted(set(places), key=lambda place: (not sheet_of(place), place_order(place), place))


def _wrap_words(run: list[int]) -> list[str]:
    if len(run) < 3:
        return [f"wrap {wrap}" for wrap in run]
    return [f"wraps {run[0]} to {run[-1]}"]


def by_sheet(results: Iterable[PageResult]) -> dict[str, tuple[PageResult, ...]]:
    """Results grouped by sheet, in the order given."""
    groups: dict[str, list[PageResult]] = {}
    for entry in results:
        groups.setdefault(entry.sheet, []).append(entry)
    return {sheet: tuple(group) for sheet, group in groups.items()}
