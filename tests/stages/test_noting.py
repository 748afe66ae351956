"""Defects, estimates, what remains, margins: noted in words, refused in sentences."""

from __future__ import annotations

import pytest

from quirewell.record import nouns
from quirewell.record.apply import noun_of
from quirewell.record.nouns import Gathering, Item, ItemState
from quirewell.stages import noting
from quirewell.stages.refusal import Refusal

STATE = ItemState("annual", 4, Item("Copperbeck Garden Annual"), Gathering(2))


def test_a_defect_needs_a_word_and_a_place_on_the_object() -> None:
    (draft,) = noting.note_defect(STATE, {"term": "tideline", "place": "w01.outer"})
    defect = noun_of(draft.kind, draft.body)
    assert (defect.term, defect.place, defect.severity) == ("tideline", "w01.outer", "moderate")
    for form in ({"place": "w01"}, {"term": "tear", "place": "w1"}, {"term": "tear", "place": "x"}):
        with pytest.raises(Refusal) as refused:
            noting.note_defect(STATE, form)
        assert refused.value.values == form


@pytest.mark.parametrize("form", [{"severity": "awful"}, {"moment": "later"}, {"capture": "p9"}])
def test_a_defect_takes_only_what_the_record_knows(form: dict[str, str]) -> None:
    with pytest.raises(Refusal):
        noting.note_defect(STATE, {"term": "tear", **form})


def test_a_known_defect_is_changed_not_doubled() -> None:
    held = nouns.Defect("defect-3", "w01", "tear")
    state = ItemState("annual", 5, STATE.item, defects={"defect-3": held})
    (draft,) = noting.note_defect(state, {"id": "defect-3", "term": "tear", "extent": "30 mm"})
    assert draft.body["id"] == "defect-3"
    with pytest.raises(Refusal):
        noting.note_defect(state, {"id": "defect-9", "term": "tear"})


@pytest.mark.parametrize("value", ["0.4", "10.5", "NaN", "fine", "1e400"])
def test_an_estimate_off_the_scale_is_refused(value: str) -> None:
    with pytest.raises(Refusal):
        noting.estimate_grade(STATE, {"value": value})


def test_an_estimate_may_be_words_alone_and_a_comma_is_a_point() -> None:
    (words,) = noting.estimate_grade(STATE, {"words": "brittle, complete"})
    assert "value" not in words.body
    (number,) = noting.estimate_grade(STATE, {"value": "3,5", "moment": "after"})
    assert number.body["value"] == "3.5"
    with pytest.raises(Refusal):
        noting.estimate_grade(STATE, {})


def test_what_remains_needs_words() -> None:
    (draft,) = noting.note_remaining(STATE, {"words": "tideline still shows", "place": "w01"})
    assert draft.body["words"] == "tideline still shows"
    with pytest.raises(Refusal):
        noting.note_remaining(STATE, {"words": "  "})


def test_only_defects_and_remaining_faults_are_set_aside_here() -> None:
    with pytest.raises(Refusal):
        noting.retract(STATE, {"id": "item"})


@pytest.mark.parametrize("value", ["", "0", "-1", "none"])
def test_a_margin_is_a_number_above_zero(value: str) -> None:
    with pytest.raises(Refusal):
        noting.lock_margin(STATE, {"value": value})


@pytest.mark.parametrize("value", ["1e99", "11", "50"])
def test_a_margin_that_would_call_any_change_none_is_not_locked(value: str) -> None:
    with pytest.raises(Refusal, match="at most 10 per cent"):
        noting.lock_margin(STATE, {"value": value})


def test_a_margin_is_locked_once() -> None:
    (draft,) = noting.lock_margin(STATE, {"value": "0,5", "reason": "half a per cent shows"})
    margin = noun_of(draft.kind, draft.body)
    state = ItemState("annual", 5, STATE.item, margins={"margin.change.width_pct": margin})
    with pytest.raises(Refusal, match="cannot be moved"):
        noting.lock_margin(state, {"value": "2"})
