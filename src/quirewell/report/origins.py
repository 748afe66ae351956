"""Where every number of a report comes from: marks in its text, and the chapter they lead to.

A number on the page is the first touch: it leads to its entry in the last chapter. The entry is
the second: it leads on to the plate or photograph in this report that shows what was measured.
The marks are signs of Unicode's private use area; :func:`held` lets none in from a person.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from quirewell.record.apply import COLLECTIONS
from quirewell.record.event import Event
from quirewell.record.finding import Run
from quirewell.record.nouns import Capture, ItemState
from quirewell.report.content import day
from quirewell.report.damage import NOTED, NUMBERED
from quirewell.report.manifest import run_of
from quirewell.report.model import JOURNAL, TYPED, Said
from quirewell.report.typeset import held
from quirewell.stages.asking import quantity_name
from quirewell.stages.naming import place_words
from quirewell.stages.results import Shown, shown_reading
from quirewell.stages.source_pictures import pictures_of_record
from quirewell.stages.source_view import begun_from, known

OPEN, MIDDLE, CLOSE = "\ue000", "\ue001", "\ue002"
# Text that becomes a bookmark, a file's name, words for the ear or the head of a table.
PLAIN = frozenset(("title", "name", "alt", "key_alt", "file", "key", "head", "labels"))
SENTENCE_FROM = 48
MOST_NEAR = 2  # pictures of a record's place named beside it
Events = Mapping[int, Event]


@dataclass(slots=True)
class _Entry:
    """A run, a record, or several of them together, and the numbers the report takes from it."""

    refs: tuple[str, ...]
    numbers: list[tuple[int, Shown]] = field(default_factory=list)
    label: str = ""


def with_origins(
    said: Said, body: dict[str, Any], state: ItemState, events: Events, shots: Mapping[str, str]
) -> dict[str, Any]:
    """Content for the template: ``body`` with its numbers marked, and the chapter as "origins".

    ``shots`` says in which file a picture, by its capture's id, is shown in the report.
    """
    index = {number: at for at, number in enumerate(said.numbers)}
    content = _marked(body, lambda one: _mark(one, index.get(one, 0)))
    assert isinstance(content, dict)
    return {**content, "origins": chapter(said.numbers, state, events, shots)}


def _mark(one: Shown, at: int) -> str:
    if not one.text:
        return ""
    kind = "s" if one.quantity == TYPED or len(one.text) >= SENTENCE_FROM else "n"
    return f"{OPEN}{kind}{at}{MIDDLE}{held(one.text)}{CLOSE}"


def _marked(value: Any, mark: Callable[[Shown], str]) -> Any:
    if isinstance(value, Shown):
        return mark(value)
    if isinstance(value, str):
        return held(value)
    if isinstance(value, dict):
        return {
            key: _marked(entry, _plain if key in PLAIN else mark) for key, entry in value.items()
        }
    if isinstance(value, (list, tuple)):
        return [_marked(entry, mark) for entry in value]
    return value


def _plain(one: Shown) -> str:
    return held(one.text)


def chapter(
    numbers: Iterable[Shown], state: ItemState, events: Events, shots: Mapping[str, str]
) -> list[dict[str, Any]]:
    """The entries of the chapter, those of one run or record together, in the journal's order."""
    entries: dict[tuple[str, ...], _Entry] = {}
    for at, number in enumerate(numbers):
        groups = tuple(dict.fromkeys(_group(ref, state) for ref in number.refs))
        for group in groups:
            _reach(group, state, entries)
        entries.setdefault(groups, _Entry(groups)).numbers.append((at, number))
    alone = sorted(
        (one for one in entries.values() if len(one.refs) == 1),
        key=lambda one: (_version(one.refs[0], state), one.refs),
    )
    several = [one for one in entries.values() if len(one.refs) > 1]
    for place, entry in enumerate(alone + several, 1):
        entry.label = str(place)
    labels = {one.refs[0]: one.label for one in alone}
    told = [_told_alone(one, state, events, shots, labels) for one in alone]
    return told + [_told_together(one, state, shots, labels) for one in several]


def _group(ref: str, state: ItemState) -> str:
    """The run a finding belongs to; any other record stands for itself."""
    return f"run:{run_of(ref)}" if run_of(ref) in state.runs else ref


def _reach(group: str, state: ItemState, entries: dict[tuple[str, ...], _Entry]) -> None:
    """An entry for a run or record, and for each reading and run it was computed from."""
    if (group,) in entries:
        return
    entries[(group,)] = _Entry((group,))
    run = state.runs.get(run_of(group)) if group.startswith("run:") else None
    for one in run.inputs if run else ():
        if one.ref in state.readings or _behind(one.ref, state) is not None:
            _reach(_group(one.ref, state), state, entries)
    for group in _begun(run, state) if run else ():
        _reach(group, state, entries)


def _begun(run: Run, state: ItemState) -> tuple[str, ...]:
    """What a run of typed text was begun from, where none of its inputs is in the record."""
    if any(one.ref in state.captures or known(state, one.ref) for one in run.inputs if one.ref):
        return ()
    came_of_it = {
        key
        for name in COLLECTIONS for key, one in getattr(state, name).items()
        if getattr(one, "run", "") == run.id and key != run.subject
    }  # fmt: skip
    refs = [ref for ref in begun_from(state, run) if ref not in came_of_it]
    return tuple(dict.fromkeys(_group(ref, state) for ref in refs))


def _behind(ref: str, state: ItemState) -> Run | None:
    return state.runs.get(run_of(ref)) if ref else None


def _told_alone(
    entry: _Entry, state: ItemState, events: Events, shots: Mapping[str, str],
    labels: Mapping[str, str],
) -> dict[str, Any]:  # fmt: skip
    ref = entry.refs[0]
    run = state.runs.get(run_of(ref)) if ref.startswith("run:") else None
    title, how = _run_words(run) if run else _record_words(ref, state)
    event = events.get(_version(ref, state))
    if event is not None:
        how = [*how, f"{day(event.at)}, {event.actor}, entry {event.seq} of the journal"]
    sources = _sources(run, ref, state, shots, labels)
    begun = () if run is None or sources else _begun(run, state)
    return {
        "label": entry.label,
        "says": held(title),
        "how": held("; ".join(how)),
        "put_in": held(_put_in(run)) if run else "",
        "sources": sources,
        "members": [_member(one, state, shots, labels) for one in begun if one in labels],
        "numbers": [_number(at, number) for at, number in entry.numbers],
    }


def _version(ref: str, state: ItemState) -> int:
    """Version of the item at which a run or record last came in."""
    return state.touched.get(ref.removeprefix("run:"), 0)


def _run_words(run: Run) -> tuple[str, list[str]]:
    standing = ", ".join(dict.fromkeys(one.standing for one in run.findings))
    title = f"{_capital(place_words(run.subject))}: {run.method}, version {run.version}"
    return title, [f"on whose word: {standing}"] if standing else []


def _put_in(run: Run) -> str:
    """What was entered for a run, each cut to a glance; the whole of it stands in the journal."""
    pairs = [
        f"{key.replace('_', ' ')} {text if len(text) <= 40 else text[:36].rstrip() + '…'}"
        for key, value in sorted(run.params.items())
        if (text := " ".join(value.split()))
    ]
    return ", ".join(pairs)


def _record_words(ref: str, state: ItemState) -> tuple[str, list[str]]:
    if ref in state.readings:
        one = state.readings[ref]
        quantity = "pH" if one.quantity.lower() == "ph" else one.quantity.replace("_", " ")
        with_what = " ".join(dict.fromkeys(w for w in (one.method, one.instrument) if w))
        title = f"Reading of {quantity}, {place_words(one.place)}: {shown_reading(one).text}"
        return title, [with_what or "instrument not noted"]
    if ref == JOURNAL:
        return "Everything in the record", [f"{_everything(state)}; nothing else of the object"]
    kind, record = next(
        ((name, held_of[ref]) for name in COLLECTIONS if ref in (held_of := getattr(state, name))),
        ("making" if ref == "gathering" else "description of the item", None),
    )
    places = getattr(record, "places", ()) or ((p,) if (p := getattr(record, "place", "")) else ())
    where = f", {', '.join(place_words(p) for p in places[:3])}" if places else ""
    who = getattr(record, "who", "") or getattr(record, "by", "")
    return f"{_KINDS.get(kind, _capital(kind))}{where}", [f"noted by {who}" if who else "noted"]


def _everything(state: ItemState) -> str:
    """How many records of each kind an item has; money, time and reports are left out."""
    held = {name: len(getattr(state, name)) for name in COLLECTIONS if name not in _UNCOUNTED}
    return ", ".join(
        f"{count} {_CALLED.get(name, name.replace('_', ' '))}"
        for name, count in held.items() if count
    )  # fmt: skip


_UNCOUNTED = frozenset((
    "reports", "sent", "costs", "times", "holdings", "own_options", "quotes", "invoices",
))  # fmt: skip
_CALLED = {
    "captures": "pictures", "runs": "computations", "grades": "estimates by a person",
    "remaining": "things still wrong", "overrides": "cautions passed over",
    "found": "sheets as found", "holes": "sheets with their staple holes",
    "joined": "sheets laid in again", "answered": "answers",
    "mishaps": "things that went wrong", "choices": "options taken", "sold": "sales",
    "checks": "answers to checks", "keeps": "things kept on purpose",
    "laters": "checks afterwards", "next_checks": "days of a next check",
    "returned": "grades that came back", "custodies": "agreements with the owner",
}  # fmt: skip
_KINDS = {
    "making": "How the item is made", "grades": "The estimate by eye",
    "spot_tests": "Test of ink", "found": "Sheet found", "holes": "Holes of a sheet",
    "joined": "Sheet laid in again", "remaining": "Still wrong", "times": "Time spent",
    **{f"{one}s": one.capitalize() for one in (
        "reading", "defect", "override", "step", "margin", "staple", "choice", "custodie",
        "quote", "invoice", "cost", "mishap", "check", "keep", "pilot", "trial", "capture",
    )}, "next_checks": "Day of the next check", "laters": "Check afterwards", "claims": "Claim",
    "returned": "Grade that came back", "sold": "Sale", "baths": "Bath",
    "custodies": "Handed over", "keeps": "Kept on purpose",
}  # fmt: skip


def _sources(
    run: Run | None, ref: str, state: ItemState, shots: Mapping[str, str],
    labels: Mapping[str, str],
) -> list[dict[str, str]]:  # fmt: skip
    """Pictures and readings behind a run, through the runs it was computed from; a record's own."""
    found: dict[str, dict[str, str]] = {}
    if run is None:
        return _shown_by(ref, state, shots)
    seen, waiting = set[str](), [run]
    while waiting:
        one = waiting.pop(0)
        seen.add(one.id)
        for entry in one.inputs:
            before = _behind(entry.ref, state)
            if entry.ref in state.captures:
                found[entry.ref] = _picture(state.captures[entry.ref], shots)
            elif entry.ref in state.readings:
                reading = state.readings[entry.ref]
                says = f"reading {shown_reading(reading).text} of {place_words(reading.place)}"
                to = f"entry-{labels[entry.ref]}" if entry.ref in labels else ""
                found[entry.ref] = {"word": "From", "says": held(says), "sha256": "", "to": to}
            elif before is not None and before.id not in seen:
                waiting.append(before)
            elif before is None and entry.sha256:
                says = f"the file {entry.ref}, as {entry.role}"
                found[entry.sha256] = {
                    "word": "From", "says": held(says), "sha256": entry.sha256[:12], "to": "",
                }  # fmt: skip
    return list(found.values())


def _shown_by(ref: str, state: ItemState, shots: Mapping[str, str]) -> list[dict[str, str]]:
    """The picture a record names, or those of its place that stand in this report."""
    record = next((getattr(state, n)[ref] for n in COLLECTIONS if ref in getattr(state, n)), None)
    named = state.captures.get(getattr(record, "capture", ""))
    if named is not None:
        return [_picture(named, shots)]
    near = pictures_of_record(record, state) if record is not None else ()
    shown = [state.captures[one.id] for one in near if one.id in shots]
    return [{**_picture(one, shots), "word": "See"} for one in shown[:MOST_NEAR]]


def _picture(capture: Capture, shots: Mapping[str, str]) -> dict[str, str]:
    where = place_words(capture.place) if capture.place else "not assigned"
    words = ", ".join(part for part in (where, capture.moment or "") if part)
    return {
        "word": "From",
        "says": held(f"{capture.filename} ({words})"),
        "sha256": capture.sha256[:12],
        "to": f"shot-{shots[capture.id]}" if capture.id in shots else "",
    }


def _told_together(
    entry: _Entry, state: ItemState, shots: Mapping[str, str], labels: Mapping[str, str]
) -> dict[str, Any]:
    """Numbers taken from several runs or records: each by its entry, and where it is shown."""
    return {
        "label": entry.label,
        "says": f"From {len(entry.refs)} entries together",
        "members": [_member(ref, state, shots, labels) for ref in entry.refs],
        "numbers": [_number(at, number) for at, number in entry.numbers],
    }


def _member(
    ref: str, state: ItemState, shots: Mapping[str, str], labels: Mapping[str, str]
) -> dict[str, str]:
    """Another entry by its label, with the first picture that shows it."""
    run = state.runs.get(run_of(ref)) if ref.startswith("run:") else None
    sources = _sources(run, ref, state, shots, labels)
    to = next((one["to"] for one in sources if one["to"].startswith("shot-")), "")
    return {"label": labels[ref], "to": to}


def _number(at: int, number: Shown) -> dict[str, str]:
    name = _name(number.quantity)
    text = number.text if len(number.text) < SENTENCE_FROM else f"{number.text[:40].rstrip()}…"
    return {"at": str(at), "says": held(f"{name}: {text}" if name else f"“{text}”")}


_OWN_NAMES = {
    NOTED: "counted", NUMBERED: "number", "trial.read": "read", "range": "over all leaves",
    "options.kind": "option",
}  # fmt: skip


def _name(quantity: str) -> str:
    if quantity in ("sentence", "text", TYPED, ""):
        return ""
    if quantity in _OWN_NAMES:
        return _OWN_NAMES[quantity]
    bare = quantity.removeprefix("record:").removeprefix("mean:")
    name, _, part = bare.partition(":")
    words = "size" if name == "verdict" else quantity_name(name)
    tail = {"smallest_seen": ", surely seen from", "90": ", 90 % band"}.get(part, "")
    return f"{'mean of ' if quantity.startswith('mean:') else ''}{words}{tail}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
