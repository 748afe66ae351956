"""``apply_bench(state, event)``: what an event of the studio's own stream makes true."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from quirewell.record.apply import KINDS, RecordError, noun_of
from quirewell.record.bench import BENCH_COLLECTIONS, BenchState
from quirewell.record.event import Event
from quirewell.record.nouns import Retract


def apply_bench(state: BenchState, event: Event) -> BenchState:
    """The bench after ``event``; pure.

    Raises:
        RecordError: a kind of event that says nothing of the bench, or one that cannot follow.
    """
    noun = noun_of(event.kind, event.body)
    if event.version != state.version + 1:
        raise RecordError(f"event {event.version} cannot follow version {state.version}")
    changes: dict[str, Any] = {"version": event.version}
    kind = KINDS[event.kind]
    if event.kind == "record.retracted":
        changes.update(_retract(state, noun))
    elif kind.of != "studio":
        raise RecordError(f"{event.kind} is true of an item, not of the studio")
    elif kind.into:
        held = {key: one for key, one in getattr(state, kind.into).items() if key != noun.id}
        changes[kind.into] = {**held, noun.id: noun}
    return replace(state, **changes)


def _retract(state: BenchState, noun: Retract) -> dict[str, Any]:
    for name in BENCH_COLLECTIONS:
        held = getattr(state, name)
        if noun.id in held:
            return {name: {key: one for key, one in held.items() if key != noun.id}}
    raise RecordError(f"there is no record {noun.id!r} to set aside")


def fold_bench(events: Iterable[Event]) -> BenchState:
    """The bench from all events of the studio's stream."""
    state = BenchState()
    for event in events:
        state = apply_bench(state, event)
    return state
