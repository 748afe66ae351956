"""What was decided, in the report: the words of the choice, and numbers with their findings."""

from __future__ import annotations

from dataclasses import replace

from quirewell.record.dealing import Choice
from quirewell.record.nouns import Item, ItemState
from quirewell.report.decision import MONEY_APART, decision_part
from quirewell.report.model import known_refs, settle, typed
from quirewell.stages.methods import run_method

EMPTY = ItemState("annual", 1, Item("Copperbeck Garden Annual"))
PARAMS = {
    "defects": "code,location,extent\ntear,c,40 mm", "low": "60", "likely": "100", "high": "200",
    "hour": "18", "life": "7, 3.3, 17", "aim": "permanence",
}  # fmt: skip


def decided() -> ItemState:
    run = run_method("options.weigh", "plan", {}, (), PARAMS)
    choice = Choice("Full treatment", "safe to open", run.id, "M. Thwaite", "2026-03-11")
    return replace(EMPTY, runs={run.id: run}, choices={"choice": choice})


def test_the_choice_stands_beside_what_it_was_taken_from() -> None:
    state = decided()
    said = settle({"decision": decision_part(state)}, known_refs(state)).content["decision"]
    assert said["facts"] == [
        ["Taken", "Full treatment"], ["Why", "safe to open"],
        ["Consent", "11 March 2026 by M. Thwaite"],
    ]  # fmt: skip
    rows = {row[0]: row[1:] for row in said["options"]}
    assert rows["Leave alone"] == ["none", "none", "as it is"]
    assert rows["Full treatment"][0].endswith("(10 to 28)")
    assert rows["Full treatment"][2] == "7 (3.3 to 17)"
    assert rows["Press only"][2] == "not worked out"
    assert said["money"] == MONEY_APART


def test_no_sum_of_money_gets_into_the_report() -> None:
    state = decided()
    numbers = settle({"decision": decision_part(state)}, known_refs(state)).numbers
    assert {one.quantity for one in numbers} == {
        "options.hours", "options.kind", "options.life_ratio", "options.mishap", "typed"
    }  # fmt: skip


def test_without_a_choice_there_is_no_such_chapter() -> None:
    assert decision_part(EMPTY) == {}


def test_a_choice_whose_weighing_is_gone_is_told_by_its_words() -> None:
    part = decision_part(replace(decided(), runs={}))
    assert part["options"] == []
    assert part["facts"][0] == ["Taken", typed("Full treatment", "choice")]
