"""The last entries saved at the bench, in words, with what can be taken back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from quirewell.record.benchwork import Entry
from quirewell.record.nouns import ItemState, Moment, Step
from quirewell.stages.gates import is_damp, sheets_of
from quirewell.stages.naming import place_words
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.today_keep import DID, step_words
from quirewell.stages.treat_view import reading_row


@dataclass(frozen=True, slots=True)
class Lately:
    """An entry in words: ``undo`` where it may be countered, ``reopen`` the step that may go on."""

    once: str
    item: str
    title: str
    at: str
    says: str
    undo: bool = False
    reopen: str = ""


def lately(states: Iterable[ItemState], count: int = 6) -> tuple[Lately, ...]:
    """The last entries of all items, newest first."""
    rows = [
        (entry.at, state.touched.get(entry.id, 0), state, entry)
        for state in states
        for entry in list(state.sent.values())[-4 * count :]
    ]
    rows.sort(key=lambda row: row[:2], reverse=True)
    return tuple(_lately(state, entry) for _, _, state, entry in rows[:count])


def _lately(state: ItemState, entry: Entry) -> Lately:
    words, undo, reopen = DID.get(entry.command, "Saved"), False, ""
    keys = entry.record.split()
    if entry.command == "reading" and not any(key in state.readings for key in keys):
        words = "A reading, taken back"
    if len(keys) == 2 and all(key in state.readings for key in keys):
        wide, high = (state.readings[key] for key in keys)
        words = f"Size {wide.value} x {high.value} {wide.unit}, {place_words(wide.place)}"
        return Lately(entry.id, state.id, state.item.title, entry.at, words, True)
    for key in keys:
        if key in state.readings:
            row = reading_row(state, state.readings[key])
            words, undo = f"{row['name']} {row['said']}, {row['where']}", True
        elif key in state.steps:
            step = state.steps[key]
            words = f"{DID.get(entry.command, 'Saved')}: {step_words(step)}"
            undo = entry.command not in ("start", "done") or not _wets(step)
            reopen = key if entry.command == "done" and step.state == "done" else ""
        elif key in state.captures:
            place = place_words(state.captures[key].place or "item")
            words, undo = f"A picture of {place}", True
        elif key in state.spot_tests:
            words, undo = f"An ink test, {place_words(state.spot_tests[key].place)}", True
        elif key == "item":
            words, undo = "A note on the item", True
        elif key.startswith("event."):
            words = "Taken back"
    return Lately(entry.id, state.id, state.item.title, entry.at, words, undo, reopen)


def _wets(step: Step) -> bool:
    kind = STEP_KINDS.get(step.kind)
    return kind is None or kind.wets_paper


def moment_here(state: ItemState, places: Iterable[str]) -> Moment | None:
    """When a reading on these sheets is taken: before anything was done to them, after it all, or
    (None) while they are worked on."""
    sheets = set(sheets_of(state, places))
    mine = [
        step for step in state.steps.values()
        if step.state != "planned" and sheets & set(sheets_of(state, step.places))
    ]  # fmt: skip
    if not mine:
        return "before"
    if any(step.state == "started" for step in mine) or any(is_damp(state, one) for one in sheets):
        return None
    planned = any(
        step.state == "planned" and sheets & set(sheets_of(state, step.places))
        for step in state.steps.values()
    )
    return None if planned else "after"


def last_ph_method(states: Iterable[ItemState]) -> str:
    """How the last pH was read, for the next one begins so; a strip where none was."""
    found = [
        (state.touched.get(reading.id, 0), reading.method)
        for state in states
        for reading in state.readings.values()
        if reading.quantity == "pH" and reading.method
    ]
    return max(found, default=(0, "strip on the paper"))[1]
