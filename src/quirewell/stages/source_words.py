"""The page of a source in words: what kind of record it is, its fields, its journal entries."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

from quirewell.record.apply import KINDS
from quirewell.record.event import Event
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import quantity_name
from quirewell.stages.gates import rule_words
from quirewell.stages.naming import place_words
from quirewell.studio.journal import chained

NAMES = {
    "captures": "A picture", "readings": "A reading taken by hand", "defects": "A defect noted",
    "grades": "An estimate by a person", "remaining": "What is still wrong",
    "spot_tests": "A spot test", "overrides": "A caution passed over", "steps": "A treatment step",
    "baths": "A bath as mixed", "margins": "A margin, locked before measuring",
    "corrections": "A correction of what was measured", "staples": "A staple",
    "found": "A sheet as it was found", "holes": "The staple holes of a sheet",
    "joined": "A sheet laid in its place", "answered": "An answer to a proposal",
    "costs": "A cost", "times": "Time spent", "mishaps": "Something that went wrong",
    "holdings": "What the item is held for", "own_options": "The table of options",
    "choices": "The option taken", "custodies": "What was agreed with the owner",
    "quotes": "A quote", "invoices": "An invoice", "returned": "A grade that came back",
    "sold": "The sale", "sent": "An entry as a tablet sent it", "checks": "A check answered",
    "keeps": "Something to be kept", "pilots": "A pilot", "trials": "Two ways compared",
    "runs": "A computation", "reports": "A report issued", "item": "The item as described",
    "gathering": "How the item is made",
}  # fmt: skip
_LABELS = {
    "done_about": "what was done about it", "most_minutes": "minutes at most",
    "temperature_c": "temperature, °C", "u_mm": "placed within, mm", "bits": "bits a channel",
    "resolution_dpi": "resolution in the file, dpi", "sha256": "sha-256 of the original",
    "as_typed": "as it was typed", "started_at": "begun", "done_at": "done", "who": "by whom",
    "way_a": "first way", "way_b": "second way", "sd": "scatter expected",
    "chain_version": "version of the chain", "litres": "litres",
}  # fmt: skip
_UNITS = ("mm", "px", "pct")
_HIDDEN = frozenset(("id",))


@dataclass(frozen=True, slots=True)
class Line:
    """A field of a record in words; ``ref`` where it names another source."""

    name: str
    says: str
    ref: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """A journal entry behind a source. ``holds`` says that its hash is what its content gives;
    ``since`` what came of it later (undone, replaced, set aside), empty where it stands."""

    seq: int
    at: str
    actor: str
    kind: str
    hash: str
    prev: str
    holds: bool
    since: str = ""


def lines_of(noun: Any, state: ItemState) -> tuple[Line, ...]:
    """The fields of a record that say anything, in the order they are declared."""
    out = []
    for field in fields(noun):
        value = getattr(noun, field.name)
        if field.name in _HIDDEN or value in (None, "", ()):
            continue
        out.append(_line(field.name, value, noun, state))
    return tuple(out)


def _line(name: str, value: Any, noun: Any, state: ItemState) -> Line:
    label = _label(name)
    if name == "place":
        return Line(label, place_words(value))
    if name == "places":
        return Line(label, ", ".join(map(place_words, value)))
    if name == "quantity":
        return Line(label, quantity_name(value))
    if name == "rule":
        return Line(label, rule_words(value))
    if name == "capture" and value in state.captures:
        return Line("picture", state.captures[value].filename, value)
    if name == "run" and value in state.runs:
        return Line("computed by", state.runs[value].method, f"run:{value}")
    if name in ("bath", "step") and value in (state.baths if name == "bath" else state.steps):
        return Line(label, value, value)
    return Line(label, plain_value(value))


def _label(name: str) -> str:
    if name in _LABELS:
        return _LABELS[name]
    words = name.split("_")
    if len(words) > 1 and words[-1] in _UNITS:
        unit = "%" if words[-1] == "pct" else words[-1]
        return f"{' '.join(words[:-1])}, {unit}"
    return " ".join(words)


def plain_value(value: Any) -> str:
    """A value as a person reads it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, Decimal):
        return f"{value}"
    if is_dataclass(value):
        held = ((one.name, getattr(value, one.name)) for one in fields(value))
        return ", ".join(
            f"{_label(name)} {plain_value(one)}" for name, one in held if one not in (None, "", ())
        )
    if isinstance(value, (tuple, list)):
        return "; ".join(map(plain_value, value))
    return str(value)


def entries_of(ref: str, events: Sequence[Event]) -> tuple[Entry, ...]:
    """The journal entries that made the record ``ref`` what it is, oldest first."""
    mine = [event for event in events if _touches(event, ref)]
    numbers = {event.seq for event in mine}
    undoing = {
        int(event.body["seq"]): event.seq for event in events if event.kind == "event.undone"
    }
    mine += [event for event in events if undoing and event.seq in
             {undoing[seq] for seq in numbers if seq in undoing}]  # fmt: skip
    mine.sort(key=lambda event: event.seq)
    standing = [event for event in mine if event.seq not in undoing and _writes(event)]
    return tuple(_entry(event, undoing, standing, mine) for event in mine)


def _touches(event: Event, ref: str) -> bool:
    if event.kind in ("record.retracted", "event.undone"):
        return event.body.get("id") == ref
    # The key as the record's own rules have it, without making the whole record of the body.
    kind = KINDS.get(event.kind)
    return kind is not None and kind.key(SimpleNamespace(**event.body)) == ref


def _writes(event: Event) -> bool:
    return event.kind not in ("event.undone", "record.retracted", "capture.assigned")


def _entry(
    event: Event, undoing: dict[int, int], standing: Sequence[Event], mine: Iterable[Event]
) -> Entry:
    since = ""
    if event.seq in undoing:
        since = f"undone by entry {undoing[event.seq]}"
    elif _writes(event):
        aside = next(
            (one.seq for one in mine
             if one.kind == "record.retracted" and one.seq > event.seq and one.seq not in undoing),
            None,
        )  # fmt: skip
        later = next((one.seq for one in standing if one.seq > event.seq), None)
        if aside is not None and later is None:
            since = f"set aside by entry {aside}"
        elif later is not None and event.kind != "run.recorded":
            since = f"replaced by entry {later}"
    words = event.kind.replace(".", " ").replace("_", " ")
    if event.kind == "event.undone":
        words += f": entry {event.body['seq']}"
    reason = str(event.body.get("reason") or "") if event.kind in (
        "event.undone", "record.retracted") else ""  # fmt: skip
    return Entry(
        event.seq, event.at, event.actor, f"{words} ({reason})" if reason else words,
        event.hash[:12], event.prev[:12], chained(event).hash == event.hash, since,
    )  # fmt: skip
