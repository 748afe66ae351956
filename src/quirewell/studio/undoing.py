"""When an event may be undone: never silently, never what others rest on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from quirewell.record.apply import COLLECTIONS, KINDS, RecordError, fold, key_of, noun_of
from quirewell.record.event import Draft, Event
from quirewell.record.nouns import ItemState
from quirewell.studio.faults import NotUndoable

Guard = Callable[[ItemState, Event], str]
"""Says why an event of a state may not be undone; an empty text when it may."""


def begun_steps_stay(state: ItemState, event: Event) -> str:
    """The careful guard: any step that was begun is corrected, never undone."""
    if event.kind in ("step.started", "step.done"):
        return "a step that was begun on the object is corrected, never undone"
    return ""


def no_guard(state: ItemState, event: Event) -> str:
    """The guard for an undo that its stage has checked already."""
    return ""


def check_undo(state: ItemState, events: Sequence[Event], draft: Draft, guard: Guard) -> None:
    """Whether the counter-event ``draft`` may be written.

    Raises:
        NotUndoable: with the reason and what to do instead.
    """
    seq = noun_of(draft.kind, draft.body).seq
    target = next((event for event in events if event.seq == seq), None)
    if target is None:
        raise NotUndoable(f"there is no journal entry {seq} in {state.id}; nothing was undone")
    undone = {int(event.body["seq"]) for event in events if event.kind == "event.undone"}
    if seq in undone:
        raise NotUndoable(f"entry {seq} was undone already")
    if not KINDS[target.kind].undoable:
        raise NotUndoable(
            f"entry {seq} ({target.kind}) cannot be undone; write a correction instead"
        )
    if said := guard(state, target):
        raise NotUndoable(f"entry {seq} ({target.kind}) cannot be undone: {said}")
    key = key_of(target.kind, target.body)
    for later in events:
        if later.seq > seq and later.seq not in undone and _touches(later, key):
            raise NotUndoable(
                f"entry {seq} cannot be undone: entry {later.seq} ({later.kind}) changed the same "
                "record afterwards; undo that one first"
            )
    _check_rest(state, events, target, draft)


def _touches(event: Event, key: str) -> bool:
    return event.kind != "event.undone" and key_of(event.kind, event.body) == key


def _check_rest(state: ItemState, events: Sequence[Event], target: Event, draft: Draft) -> None:
    counter = Event(
        events[-1].seq + 1, state.id, state.version + 1, draft.kind, draft.body, target.at,
        target.zone, target.actor, "", "",
    )  # fmt: skip
    try:
        after = fold([*events, counter])
    except RecordError as error:
        raise NotUndoable(
            f"entry {target.seq} cannot be undone: a later entry rests on it ({error})"
        ) from error
    if after is None:
        raise NotUndoable(f"entry {target.seq} opened the item and cannot be undone")
    key = key_of(target.kind, target.body)
    if record_of(after, key) is None:
        for user in users_of(after, key):
            raise NotUndoable(
                f"entry {target.seq} cannot be undone: {user} rests on {key}; undo or set that "
                "aside first"
            )


def record_of(state: ItemState, key: str) -> object | None:
    """The record called ``key`` in a state, None when it is not there."""
    if key in ("item", "gathering"):
        found: object | None = getattr(state, key)
        return found
    for name in COLLECTIONS:
        if key in getattr(state, name):
            entry: object = getattr(state, name)[key]
            return entry
    return None


def users_of(state: ItemState, key: str) -> Iterator[str]:
    """Ids of the records that refer to ``key``."""
    for defect in state.defects.values():
        if defect.capture == key:
            yield defect.id
    for test in state.spot_tests.values():
        if test.capture == key:
            yield test.id
    for step in state.steps.values():
        if step.bath == key:
            yield step.id
    for override in state.overrides.values():
        if override.step == key:
            yield override.id
    for bath in state.baths.values():
        if bath.run == key:
            yield bath.id
    for name, correction in state.corrections.items():
        if correction.capture == key:
            yield name
    for name, holes in state.holes.items():
        if key in (holes.capture, holes.run):
            yield name
    for run in state.runs.values():
        if any(entry.ref == key for entry in run.inputs):
            yield run.id
    for report in state.reports.values():
        if any(finding.startswith(f"{key}.") for finding in report.findings):
            yield report.id
