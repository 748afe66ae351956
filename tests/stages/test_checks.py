"""Checks before water: the record answers first, then a person; mould stays out of the chamber."""

import pytest

from folding import READY, Bench, annual, ready
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Retract
from quirewell.stages import treat
from quirewell.stages.checks import QUESTIONS, answer_check, standing
from quirewell.stages.gates import objections
from quirewell.stages.noting import note_defect
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS

ASKED = ("staples-out", "dry-clean", "mould-apart", "repairs-mapped", "keep-list", "carrier")
WHOLE = [key for key, kind in STEP_KINDS.items() if kind.wets == "whole"]


def rules(bench: Bench, kind: str, *places: str) -> list[str]:
    return [one.rule for one in objections(bench.state, STEP_KINDS[kind], places)]


def answer(bench: Bench, key: str, says: str, places: str = "item", **more: str) -> None:
    form = {"key": key, "answer": says, "places": places, **more}
    bench.do(answer_check(bench.state, form))


def run_step(bench: Bench, kind: str, places: str, **form: str) -> str:
    given = {"kind": kind, "places": places, "override": "done for this test only", **form}
    bench.do(treat.start_step(bench.state, given))
    step = list(bench.state.steps)[-1]
    bench.do(treat.finish_step(bench.state, {"id": step, "at": form.get("at", "")}))
    return step


@pytest.mark.parametrize("kind", WHOLE)
def test_every_check_stands_before_the_whole_sheet_is_wetted(kind):
    found = rules(annual(), kind, "w01")
    assert [rule for rule in found if rule in ASKED] == list(ASKED)
    assert not set(ASKED) & set(rules(ready(annual()), kind, "w01"))


@pytest.mark.parametrize("kind", ["mend", "humidify", "surface-clean", "press", "dry"])
def test_none_stands_before_a_step_that_wets_no_whole_sheet(kind):
    assert not set(ASKED) & set(rules(annual(), kind, "w01"))


@pytest.mark.parametrize("key", READY)
def test_one_answer_lifts_one_check_for_the_sheets_it_was_given_for(key):
    bench = annual()
    answer(bench, key, READY[key], "w01 w02")
    assert key not in rules(bench, "wash", "w01", "w02")
    assert key in rules(bench, "wash", "w01", "w03")
    (says,) = [o.says for o in objections(bench.state, STEP_KINDS["wash"], ("w01", "w03"))
               if o.rule == key]  # fmt: skip
    assert "wrap 3" in says and "wrap 1" not in says


def test_the_newest_answer_counts_and_a_no_is_heard() -> None:
    bench = ready(annual())
    answer(bench, "dry-clean", "no", "w05")
    assert rules(bench, "wash", "w01") == rules(bench, "wash", "w02")
    assert "dry-clean" in rules(bench, "wash", "w05")
    answer(bench, "dry-clean", "yes", "w05")
    assert "dry-clean" not in rules(bench, "wash", "w05")


def test_staples_and_cleaning_are_read_off_the_steps() -> None:
    bench = annual()
    run_step(bench, "staples-out", "item")
    run_step(bench, "surface-clean", "w01")
    assert not {"staples-out", "dry-clean"} & set(rules(bench, "wash", "w01"))
    assert "dry-clean" in rules(bench, "wash", "w02")
    assert standing(bench.state, "w01", "staples-out").from_record
    run_step(bench, "staples-in", "item")
    assert "staples-out" in rules(bench, "wash", "w01")


def test_a_step_only_planned_or_under_way_answers_nothing() -> None:
    bench = annual()
    bench.do(treat.plan_step(bench.state, {"kind": "surface-clean", "places": "w01"}))
    assert "dry-clean" in rules(bench, "wash", "w01")
    bench.do(treat.start_step(bench.state, {"id": list(bench.state.steps)[-1]}))
    assert "dry-clean" in rules(bench, "wash", "w01")


def test_tape_noted_on_a_sheet_maps_that_sheet() -> None:
    bench = annual()
    bench.do(note_defect(bench.state, {"place": "w02.outer.left", "term": "old tape"}))
    assert "repairs-mapped" not in rules(bench, "wash", "w02")
    assert "repairs-mapped" in rules(bench, "wash", "w03")


def test_mould_keeps_its_sheet_out_of_the_chamber_whatever_was_answered() -> None:
    bench = ready(annual())
    assert rules(bench, "humidify", "w03") == []
    bench.do(note_defect(bench.state, {"place": "w03.inner.left", "term": "mould"}))
    answer(bench, "mould-apart", "yes", "w03")
    (found,) = objections(bench.state, STEP_KINDS["humidify"], ("w02", "w03"))
    assert found.rule == "mould-chamber" and "wrap 3" in found.says and "item" in found.says
    form = {"kind": "humidify", "places": "w03", "override": "it will be quick"}
    with pytest.raises(Refusal) as caught:
        treat.start_step(bench.state, form)
    assert caught.value.rule == "", "no reason passes mould into the chamber"
    assert rules(bench, "humidify", "w02") == []
    (noted,) = bench.state.defects.values()
    bench.do((Draft(bench.state.id, "record.retracted", to_body(Retract(noted.id))),))
    bench.do(note_defect(bench.state, {"place": "w03.inner.left", "term": "dead mould, stain"}))
    treat.start_step(bench.state, {"kind": "humidify", "places": "w03"})


def test_mould_is_no_company_for_other_sheets_in_a_bath() -> None:
    bench = ready(annual())
    bench.do(note_defect(bench.state, {"place": "w03", "term": "mould"}))
    assert "mould-apart" in rules(bench, "wash", "w03")
    answer(bench, "mould-apart", "yes", "w03")
    assert "mould-apart" not in rules(bench, "wash", "w03")
    assert "mould-apart" in rules(bench, "wash", "w02", "w03")


def test_none_seen_does_not_hold_against_mould_that_is_noted() -> None:
    bench = ready(annual())
    bench.do(note_defect(bench.state, {"place": "w03", "term": "mould"}))
    assert standing(bench.state, "w03", "mould-apart").state == "open"
    assert standing(bench.state, "w02", "mould-apart").state == "well"


def test_surfactant_is_rinsed_out_before_drying_and_lime() -> None:
    bench = ready(annual())
    assert "surfactant-rinsed" not in rules(bench, "dry", "w01")
    soapy = {"way": "warm with surfactant, one wrap at a time", "at": "2026-03-01T18:00:00Z"}
    run_step(bench, "wash", "w01", **soapy)
    assert "surfactant-rinsed" in rules(bench, "dry", "w01")
    assert "surfactant-rinsed" in rules(bench, "lime-bath", "w01")
    assert "surfactant-rinsed" not in rules(bench, "dry", "w02")
    answer(bench, "surfactant-rinsed", "none", "w01", at="2026-03-01T18:30:00Z")
    assert "surfactant-rinsed" in rules(bench, "dry", "w01")
    answer(bench, "surfactant-rinsed", "yes", "w01", at="2026-03-01T17:30:00Z")
    assert "surfactant-rinsed" in rules(bench, "dry", "w01")
    answer(bench, "surfactant-rinsed", "yes", "w01", at="2026-03-01T18:30:00Z")
    assert "surfactant-rinsed" not in rules(bench, "dry", "w01")


def test_a_rinse_recorded_as_a_wash_speaks_for_itself() -> None:
    bench = ready(annual())
    run_step(bench, "wash", "w01", way="warm with surfactant, one wrap at a time")
    run_step(bench, "wash", "w01", way="cold, one wrap at a time")
    assert "surfactant-rinsed" not in rules(bench, "dry", "w01")


def test_the_carrier_may_be_answered_as_the_step_starts() -> None:
    bench = ready(annual())
    answer(bench, "carrier", "no", "w01")
    test = {"place": "w01", "colour": "black", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    form = {"kind": "wash", "places": "w01"}
    with pytest.raises(Refusal) as caught:
        treat.start_step(bench.state, form)
    assert caught.value.rule == "carrier"
    bench.do(treat.start_step(bench.state, {**form, "carrier": "yes"}))
    assert standing(bench.state, "w01", "carrier").state == "well"
    assert bench.state.overrides == {}


def test_an_answer_is_set_aside_like_any_record() -> None:
    bench = ready(annual())
    mine = next(check.id for check in bench.state.checks.values() if check.key == "dry-clean")
    bench.do(treat.set_aside(bench.state, {"id": mine}))
    assert "dry-clean" in rules(bench, "wash", "w01")


def test_each_rule_may_have_a_reason_of_its_own() -> None:
    bench = annual()
    form = {"kind": "wash", "places": "w01"}
    given = {f"override.{rule}": f"reason of its own for {rule}"
             for rule in rules(bench, "wash", "w01")}  # fmt: skip
    bench.do(treat.start_step(bench.state, {**form, **given}))
    kept = {one.rule: one.reason for one in bench.state.overrides.values()}
    assert kept["carrier"] == "reason of its own for carrier" and len(kept) == len(given)


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"key": "moon", "answer": "yes"}, "key"),
        ({"key": "carrier", "answer": "perhaps"}, "answer"),
        ({"key": "carrier", "answer": "yes", "places": "w99"}, "places"),
        ({"key": "carrier", "answer": "yes", "capture": "x"}, "capture"),
    ],
)
def test_what_is_no_answer_is_refused_at_its_box(form, field):
    with pytest.raises(Refusal) as caught:
        answer_check(annual().state, form)
    assert [problem.field for problem in caught.value.problems] == [field]


def test_every_question_says_what_to_do_and_why() -> None:
    for row in QUESTIONS.values():
        assert row.to_do.endswith(".") and row.why.endswith(".") and row.asks.endswith("?")
        assert {"yes", "no"} <= set(row.answers) <= {"yes", "no", "none"}
