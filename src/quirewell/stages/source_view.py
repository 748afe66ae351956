"""The page of a source: everything that stands behind one number or one record of an item.

A source is named by a finding's id, "run:" and a run's id, a record's id, "item", "gathering",
"journal" (the item's whole record) or "source:" and a key of the bibliography.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quirewell.record.apply import COLLECTIONS
from quirewell.record.event import Event
from quirewell.record.finding import Finding, Run
from quirewell.record.nouns import ItemState, Reading
from quirewell.stages.asking import Asked, ask, quantity_name, say
from quirewell.stages.cautions import CAUTIONS
from quirewell.stages.methods import find_method
from quirewell.stages.naming import place_words
from quirewell.stages.narrowing import narrows
from quirewell.stages.results import shown_reading
from quirewell.stages.source_pictures import Pictured, pictures_of_record, pictures_of_run
from quirewell.stages.source_words import NAMES, Entry, Line, entries_of, lines_of

JOURNAL, CITED, RUN = "journal", "source:", "run:"
# Records a computation was begun from, where its inputs are typed text; by its method.
_BEGAN_FROM = {
    "condition.grade": ("defects",), "options.weigh": ("defects",), "order.check": ("found",),
    "rejoin.align": ("holes",), "creep.fit": ("readings",), "fold.plan": ("readings",),
    "bath.lime_water": ("baths",), "bath.ledger": ("baths",), "outlook.treatment": ("steps",),
}  # fmt: skip
# Where the pH that a computation was given is typed, and the moment it was read at.
_PH_TYPED = {
    "paper.reserve": (("ph", "after"),),
    "outlook.ratio": (("ph_before", "before"), ("ph_after", "after")),
}  # fmt: skip
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_METHODS_GONE = "this program no longer has this method"
MOST_RESTING = 40


@dataclass(frozen=True, slots=True)
class Bar:
    """One term of an uncertainty: its size in words, and its length beside the largest [%]."""

    name: str
    says: str
    basis: str
    length_pct: float


@dataclass(frozen=True, slots=True)
class Link:
    """Another source by name."""

    says: str
    ref: str


@dataclass(frozen=True, slots=True)
class Source:
    """What the page of a source shows. ``gone`` says why it holds no more, empty where it does."""

    ref: str
    kind: str
    title: str
    said: str
    about: str
    asked: Asked | None = None
    bars: tuple[Bar, ...] = ()
    narrows: str = ""
    method: str = ""
    pictures: tuple[Pictured, ...] = ()
    lines: tuple[Line, ...] = ()
    records: tuple[Link, ...] = ()
    findings: tuple[Link, ...] = ()
    warnings: tuple[str, ...] = ()
    journal: tuple[Entry, ...] = ()
    rests: tuple[Link, ...] = ()
    run: str = ""
    gone: str = ""
    cited: str = ""


def source_view(state: ItemState, ref: str, events: Sequence[Event]) -> Source | None:
    """The source ``ref`` of an item with the journal entries behind it; None for no such one."""
    if ref == JOURNAL:
        return _journal(state, events)
    if ref.startswith(CITED):
        return _cited(state, ref)
    run, finding = _computed(state, ref)
    if run is not None:
        return _of_run(state, ref, run, finding, events)
    found = record_of(state, ref)
    if found is not None:
        return _of_record(state, ref, *found, events)
    return _gone(state, ref, events)


def known(state: ItemState, ref: str) -> bool:
    """Whether ``ref`` names something that holds now."""
    if ref == JOURNAL:
        return True
    if ref.startswith(CITED):
        return _cited(state, ref) is not None
    return _computed(state, ref)[0] is not None or record_of(state, ref) is not None


def _computed(state: ItemState, ref: str) -> tuple[Run | None, Finding | None]:
    """The run that ``ref`` names, or the finding and its run."""
    if ref.startswith(RUN):
        return state.runs.get(ref.removeprefix(RUN)), None
    run = state.runs.get(ref.rpartition(".")[0])
    finding = next((one for one in run.findings if one.id == ref), None) if run else None
    return (run, finding) if finding is not None else (None, None)


def record_of(state: ItemState, ref: str) -> tuple[str, Any] | None:
    """The collection and the record that ``ref`` names; runs are named by "run:"."""
    if ref == "item":
        return "item", state.item
    if ref == "gathering":
        return None if state.gathering is None else ("gathering", state.gathering)
    for name in COLLECTIONS:
        if name != "runs" and ref in (collection := getattr(state, name)):
            return name, collection[ref]
    return None


def _of_run(
    state: ItemState, ref: str, run: Run, finding: Finding | None, events: Sequence[Event]
) -> Source:
    asked = ask(finding, run, state) if finding else None
    where = place_words(run.subject)
    begun = begun_from(state, run)
    pictures = pictures_of_run(run, finding.quantity if finding else "", state)
    if not pictures:
        pictures = _pictures_of(begun, state)
    journal = entries_of(run.id, events)
    for entry in run.inputs:
        journal += entries_of(entry.ref, events) if entry.ref else ()
    return Source(
        ref,
        "finding" if finding else "run",
        asked.name if asked else _method_says(run),
        asked.said if asked else "",
        place_words(finding.subject) if finding else where,
        asked=asked,
        bars=_bars(finding) if finding else (),
        narrows=narrows(finding) if finding else "",
        method=_method_says(run),
        pictures=pictures,
        lines=_given(run),
        records=tuple(_link(state, one) for one in begun),
        findings=() if finding else tuple(_link(state, one.id) for one in run.findings),
        warnings=run.warnings,
        journal=journal,
        rests=_rests(state, run, finding),
        run=run.id,
    )  # fmt: skip


def _method_says(run: Run) -> str:
    try:
        return find_method(run.method).says
    except KeyError:
        return _METHODS_GONE


def _given(run: Run) -> tuple[Line, ...]:
    return tuple(Line(name.replace("_", " "), value) for name, value in sorted(run.params.items()))


def _bars(finding: Finding) -> tuple[Bar, ...]:
    """Terms of an uncertainty, the largest first."""
    terms = sorted(finding.terms, key=lambda term: -term.u)
    top = max((term.u for term in terms), default=0.0)
    return tuple(
        Bar(term.name, say(term.u, None, finding.unit), term.basis,
            round(100 * term.u / top, 1) if top > 0 else 0.0)
        for term in terms
    )  # fmt: skip


def begun_from(state: ItemState, run: Run) -> tuple[str, ...]:
    """Ids of the records and runs a run took in or was begun from, and of those that name it;
    pictures are left out."""
    refs = [entry.ref for entry in run.inputs if entry.ref and entry.ref not in state.captures]
    refs = [ref for ref in refs if known(state, ref)]
    for name in COLLECTIONS:
        refs += [
            key for key, one in getattr(state, name).items() if getattr(one, "run", "") == run.id
        ]
    for name in _BEGAN_FROM.get(run.method, ()):
        held = getattr(state, name)
        if run.method.startswith("bath."):
            held = [run.subject] if run.subject in held else []
        refs += list(held)
    return tuple(dict.fromkeys([*refs, *_ph_typed(state, run)]))


def _ph_typed(state: ItemState, run: Run) -> list[str]:
    """Readings of pH whose very value stands in what was typed for a run, of the moment asked."""
    out: list[str] = []
    for name, moment in _PH_TYPED.get(run.method, ()):
        typed = {Decimal(number) for number in _NUMBER.findall(run.params.get(name, ""))}
        out += [
            reading.id
            for reading in state.readings.values()
            if reading.quantity == "pH" and reading.moment == moment and reading.value in typed
        ]
    return out


def _pictures_of(refs: Iterable[str], state: ItemState) -> tuple[Pictured, ...]:
    """Pictures behind findings, runs and records, each once."""
    out: dict[str, Pictured] = {}
    for ref in refs:
        run, finding = _computed(state, ref)
        if run is not None:
            found = pictures_of_run(run, finding.quantity if finding else "", state)
        else:
            record = record_of(state, ref)
            found = pictures_of_record(record[1], state) if record else ()
        for one in found:
            out.setdefault(one.id, one)
    return tuple(out.values())


def _of_record(state: ItemState, ref: str, name: str, noun: Any, events: Sequence[Event]) -> Source:
    place = getattr(noun, "place", "")
    run = getattr(noun, "run", "")
    pictures = pictures_of_record(noun, state)
    if not pictures and run in state.runs:
        pictures = pictures_of_run(state.runs[run], "", state)
    return Source(
        ref, "record", NAMES.get(name, name.replace("_", " ").capitalize()), _said(noun),
        place_words(place) if place else "",
        pictures=pictures,
        lines=lines_of(noun, state),
        journal=entries_of(ref, events),
        rests=_using(state, ref),
    )  # fmt: skip


def _said(noun: Any) -> str:
    if isinstance(noun, Reading):
        return f"{quantity_name(noun.quantity)}: {shown_reading(noun).text}"
    for name in ("term", "words", "what", "option", "title", "reason", "filename"):
        if text := str(getattr(noun, name, "") or ""):
            return text
    return ""


def _link(state: ItemState, ref: str) -> Link:
    run, finding = _computed(state, ref)
    if run is not None and finding is not None:
        asked = ask(finding, run, state)
        return Link(f"{asked.name}: {asked.said}", ref)
    if run is not None:
        return Link(f"{_method_says(run)} ({place_words(run.subject)})", ref)
    found = record_of(state, ref)
    if found is None:
        return Link(ref, ref)
    name, noun = found
    parts = [NAMES.get(name, name), _said(noun), place_words(getattr(noun, "place", "") or "item")]
    return Link(": ".join(part for part in parts[:2] if part) + f" ({parts[2]})", ref)


def link_to(state: ItemState, ref: str) -> Link:
    """A source by name, for a list of several."""
    if ref == JOURNAL:
        return Link("The journal of this item", ref)
    return Link("A published source", ref) if ref.startswith(CITED) else _link(state, ref)


def several(state: ItemState, refs: Sequence[str]) -> tuple[tuple[Link, ...], tuple[Pictured, ...]]:
    """Several sources by name, and the pictures behind them, each once."""
    behind: list[str] = []
    for ref in refs:
        run, _ = _computed(state, ref)
        seen = run is None or any(entry.ref in state.captures for entry in run.inputs)
        behind += (ref,) if run is None or seen else begun_from(state, run)
    return tuple(link_to(state, ref) for ref in refs), _pictures_of(behind, state)


def _rests(state: ItemState, run: Run, finding: Finding | None) -> tuple[Link, ...]:
    """What rests on a computation: records that name it, computations on the same pictures that
    take it in, and reports that print it."""
    names = {run.id, f"{RUN}{run.id}"} | ({finding.id} if finding else set())
    out = [
        _link(state, f"{RUN}{one.id}")
        for one in state.runs.values()
        if any(entry.ref in names for entry in one.inputs)
    ]
    if run.method == "leaf.measure":
        taken = {entry.ref for entry in run.inputs if entry.ref}
        out += [
            _link(state, f"{RUN}{one.id}")
            for one in state.runs.values()
            if one.method == "pair.compare" and any(entry.ref in taken for entry in one.inputs)
        ]
    return tuple(out[:MOST_RESTING]) + _printed(state, names)


def _printed(state: ItemState, names: set[str]) -> tuple[Link, ...]:
    return tuple(
        Link(f"The report “{one.title}”, {one.id}", one.id)
        for one in state.reports.values() if names.intersection(one.findings)
    )  # fmt: skip


def _using(state: ItemState, ref: str) -> tuple[Link, ...]:
    """Computations that took a record in, and reports that print it."""
    out = [
        _link(state, f"{RUN}{one.id}")
        for one in state.runs.values()
        if any(entry.ref == ref for entry in one.inputs)
    ]
    return tuple(out[:MOST_RESTING]) + _printed(state, {ref})


def _journal(state: ItemState, events: Sequence[Event]) -> Source:
    """The item's whole record: how many entries of each kind, the first and the last of them."""
    kinds = Counter(event.kind.replace(".", " ").replace("_", " ") for event in events)
    ends = dict.fromkeys((0, len(events) - 1)) if events else ()
    return Source(
        JOURNAL, "journal", "The journal of this item", f"{len(events)} entries", state.item.title,
        lines=tuple(Line(kind, str(count)) for kind, count in sorted(kinds.items())),
        journal=tuple(
            Entry(event.seq, event.at, event.actor, event.kind.replace(".", " ").replace("_", " "),
                  event.hash[:12], event.prev[:12], True)
            for event in (events[at] for at in ends)
        ),
    )  # fmt: skip


def _cited(state: ItemState, ref: str) -> Source | None:
    """A published source: which computations and cautions of this item rest on it."""
    key = ref.removeprefix(CITED)
    rests = tuple(
        _link(state, f"{RUN}{run.id}")
        for run in state.runs.values()
        if any(key in finding.sources for finding in run.findings)
    )
    told = tuple(one.says for one in CAUTIONS.values() if one.source == key)
    if not key or not (rests or told):
        return None
    return Source(ref, "citation", "A published source", "", "", warnings=told,
                  rests=rests[:MOST_RESTING], cited=key)  # fmt: skip


def _gone(state: ItemState, ref: str, events: Sequence[Event]) -> Source | None:
    """A record that holds no more but stands in the journal."""
    runs = {
        name: event.body["id"]
        for event in events if event.kind == "run.recorded"
        for name in (f"{RUN}{event.body['id']}",
                     *(one["id"] for one in event.body.get("findings", ())))
        if name == ref
    }  # fmt: skip
    journal = entries_of(runs.get(ref, ref), events)
    if not journal:
        return None
    return Source(
        ref, "gone", "A record that holds no more", "", "", journal=journal,
        gone="It was undone or set aside; what was written stays in the journal.",
    )  # fmt: skip
