"""A timer that is one record, minutes typed, and hours summed by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from quirewell.record.apply import noun_of
from quirewell.record.dealing import TimeSpent
from quirewell.record.nouns import Item, ItemState
from quirewell.stages import time_spent as stage
from quirewell.stages.refusal import Refusal

EMPTY = ItemState("annual", 4, Item("Copperbeck Garden Annual"))
NINE, HALF_TEN = "2026-03-31T09:00:00Z", "2026-03-31T09:30:00Z"


def _with(*spent: TimeSpent) -> ItemState:
    return replace(EMPTY, version=9, times={one.id: one for one in spent})


def test_a_timer_started_and_stopped_is_half_an_hour() -> None:
    (draft,) = stage.start_timer(EMPTY, {"doing": "mending", "at": NINE})
    on = noun_of(draft.kind, draft.body)
    assert stage.is_running(on) and stage.seconds_of(on) == 0
    state = _with(on)
    assert stage.time_view(state).running is not None
    (stopped,) = stage.stop_timer(state, {"at": HALF_TEN})
    over = noun_of(stopped.kind, stopped.body)
    assert (over.id, stage.seconds_of(over)) == (on.id, Decimal(1800))
    assert stage.hours_of([over]) == Decimal("0.50")
    assert stage.running(_with(over)) is None


def test_one_timer_runs_at_a_time_and_a_button_pressed_twice_changes_nothing() -> None:
    state = _with(TimeSpent("time-1", "mending", NINE))
    assert stage.start_timer(state, {"doing": "mending", "at": HALF_TEN}) == ()
    with pytest.raises(Refusal, match="runs already"):
        stage.start_timer(state, {"doing": "washing", "at": HALF_TEN})


def test_a_forgotten_timer_asks_how_long_the_work_took() -> None:
    state, next_day = _with(TimeSpent("time-1", "mending", NINE)), "2026-04-01T09:00:00Z"
    with pytest.raises(Refusal, match="more than 12 hours"):
        stage.stop_timer(state, {"at": next_day})
    (draft,) = stage.stop_timer(state, {"at": next_day, "minutes": "1 h 30"})
    assert stage.seconds_of(noun_of(draft.kind, draft.body)) == 5400


def test_a_clock_set_back_gives_no_time_below_nothing() -> None:
    assert stage.seconds_of(TimeSpent("t", "", HALF_TEN, NINE)) == 0


def test_hours_are_rounded_once_not_stretch_by_stretch() -> None:
    # Three stretches of 10 minutes: 0.1667 h each would be 0.51 rounded one by one; it is 0.50.
    thrice = [TimeSpent(f"t{n}", "", minutes=Decimal(10)) for n in range(3)]
    assert stage.hours_of(thrice) == Decimal("0.50")


@pytest.mark.parametrize("minutes", ["", "-5", "0", "1e999", "soon", "99999999", "NaN"])
def test_a_time_that_cannot_be_is_refused_with_what_was_typed(minutes: str) -> None:
    with pytest.raises(Refusal) as refused:
        stage.note_time(EMPTY, {"doing": "mending", "minutes": minutes})
    assert refused.value.values["doing"] == "mending"


def test_a_stretch_is_corrected_by_its_id_and_set_aside() -> None:
    state = _with(TimeSpent("time-1", "mending", NINE, HALF_TEN))
    (draft,) = stage.note_time(state, {"id": "time-1", "doing": "mending", "minutes": "20"})
    assert stage.seconds_of(noun_of(draft.kind, draft.body)) == 1200
    (aside,) = stage.set_time_aside(state, {"id": "time-1"})
    assert (aside.kind, aside.body["id"]) == ("record.retracted", "time-1")
    with pytest.raises(Refusal):
        stage.set_time_aside(EMPTY, {"id": "time-1"})
    with pytest.raises(Refusal):
        stage.stop_timer(EMPTY, {"at": NINE})
