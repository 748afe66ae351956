"""The pilot wrap: no other sheet is wetted before one was washed, dried, looked at, accepted."""

import pytest

from folding import READY, Bench, annual
from quirewell.stages import treat
from quirewell.stages.checks import answer_check
from quirewell.stages.gates import objections
from quirewell.stages.keeping import note_keep
from quirewell.stages.noting import note_defect
from quirewell.stages.pilot import (
    choose_pilot,
    course_of,
    judge_pilot,
    suggested,
    tell_scrap,
)
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS


def checked() -> Bench:
    """The Annual with checks and an ink test, and no pilot yet."""
    bench = annual()
    for key, says in READY.items():
        bench.do(answer_check(bench.state, {"key": key, "answer": says}))
    test = {"place": "item", "colour": "black", "liquid": "lime water", "result": "no change"}
    bench.do(treat.record_spot_test(bench.state, test))
    return bench


def why(bench: Bench, kind: str, *places: str) -> str:
    found = objections(bench.state, STEP_KINDS[kind], places)
    assert {one.rule for one in found} <= {"pilot-first"}
    return " ".join(one.says for one in found)


def chosen(bench: Bench, **form: str) -> str:
    bench.do(choose_pilot(bench.state, form))
    return list(bench.state.pilots)[-1]


def through(bench: Bench, kind: str, place: str, start: str, done: str) -> None:
    form = {"kind": kind, "places": place, "at": start}
    bench.do(treat.start_step(bench.state, form))
    step = list(bench.state.steps)[-1]
    bench.do(treat.finish_step(bench.state, {"id": step, "at": done}))


def judged(bench: Bench, pilot: str, at: str, **form: str) -> None:
    bench.do(judge_pilot(bench.state, {"id": pilot, "at": at, **form}))


def washed(bench: Bench) -> str:
    pilot = chosen(bench, place="5")
    through(bench, "wash", "w05", "2026-03-08T13:00:00Z", "2026-03-08T13:30:00Z")
    through(bench, "dry", "w05", "2026-03-08T13:35:00Z", "2026-03-09T17:00:00Z")
    return pilot


def test_no_sheet_goes_first_without_a_pilot() -> None:
    bench = checked()
    assert "No pilot has been through water" in why(bench, "wash", "w01")
    assert "alkaline water" in why(bench, "lime-bath", "w01")
    assert why(bench, "mend", "w01") == why(bench, "humidify", "w01") == ""


def test_the_pilot_itself_goes_in_and_nothing_beside_it() -> None:
    bench = checked()
    chosen(bench, place="w05")
    assert why(bench, "wash", "w05") == ""
    assert "wrap 1" in why(bench, "wash", "w01", "w05").lower()
    assert "has not been in water yet" in why(bench, "wash", "w01")


def test_its_course_is_read_off_its_steps() -> None:
    bench = checked()
    pilot = chosen(bench, place="5")
    assert course_of(bench.state, bench.state.pilots[pilot]).stands == "not begun"
    through(bench, "wash", "w05", "2026-03-08T13:00:00Z", "2026-03-08T13:30:00Z")
    assert "is not dry yet" in why(bench, "wash", "w01")
    through(bench, "dry", "w05", "2026-03-08T13:35:00Z", "2026-03-09T17:00:00Z")
    course = course_of(bench.state, bench.state.pilots[pilot])
    assert (course.washed_at, course.dried_at) == ("2026-03-08T13:30:00Z", "2026-03-09T17:00:00Z")
    assert course.through == ("wash",) and course.stands == "dry"
    assert "waits to be looked at a day later" in why(bench, "wash", "w01")


@pytest.mark.parametrize(
    ("at", "accepted"), [("2026-03-10T16:59:00Z", False), ("2026-03-10T17:00:00Z", True)]
)
def test_it_is_accepted_a_day_after_it_was_dry_and_no_sooner(at, accepted):
    bench = checked()
    pilot = washed(bench)
    form = {"accepted": "yes", "measured": "265.0 to 264.5 mm high by rule"}
    if accepted:
        judged(bench, pilot, at, **form)
        assert why(bench, "wash", "w01", "c") == ""
    else:
        with pytest.raises(Refusal, match="Look again from 10 Mar 17:00"):
            judged(bench, pilot, at, **form)


def test_it_is_measured_before_it_is_accepted_by_words_or_by_readings_made_since() -> None:
    bench = checked()
    early = {"quantity": "tone_step", "value": "8", "place": "w05", "moment": "before"}
    bench.do(treat.record_reading(bench.state, early))
    pilot = washed(bench)
    late = "2026-03-11T18:00:00Z"
    with pytest.raises(Refusal) as caught:
        judged(bench, pilot, late, accepted="yes")
    assert caught.value.problems[0].field == "measured"
    bench.do(treat.record_reading(bench.state, {**early, "value": "7", "moment": "after"}))
    judged(bench, pilot, late, accepted="yes")
    assert bench.state.pilots[pilot].measured.startswith("tone step 7")


def test_water_says_nothing_about_alkali() -> None:
    bench = checked()
    pilot = washed(bench)
    judged(bench, pilot, "2026-03-11T18:00:00Z", accepted="yes", measured="by eye and rule")
    assert why(bench, "wash", "w01") == "" and why(bench, "size", "w01") == ""
    assert "alkaline water" in why(bench, "lime-bath", "w01")
    scrap = chosen(bench, scrap="a blank margin of like paper")
    told = {"washed_at": "2026-03-08T13:00", "dried_at": "2026-03-09T13:00"}
    form = {"id": scrap, "through": "lime-bath", "at": "2026-03-11T18:00:00Z", **told}
    bench.do(tell_scrap(bench.state, form))
    judged(bench, scrap, "2026-03-11T18:00:00Z", accepted="yes", measured="shade unchanged")
    assert why(bench, "lime-bath", "w01") == ""


def test_a_no_blocks_with_its_words_until_another_pilot_is_accepted() -> None:
    bench = checked()
    pilot = washed(bench)
    with pytest.raises(Refusal, match="what was wrong"):
        judged(bench, pilot, "2026-03-09T18:00:00Z", accepted="no")
    note = "A new tideline at the foot."
    judged(bench, pilot, "2026-03-09T18:00:00Z", accepted="no", note=note)
    says = why(bench, "wash", "w01")
    assert "not accepted" in says and note in says and "another pilot" in says
    assert "not accepted" in why(bench, "wash", "w05")
    second = chosen(bench, place="w06")
    assert why(bench, "wash", "w06") == ""
    through(bench, "wash", "w06", "2026-03-12T13:00:00Z", "2026-03-12T13:30:00Z")
    through(bench, "dry", "w06", "2026-03-12T13:35:00Z", "2026-03-13T13:00:00Z")
    judged(bench, second, "2026-03-15T13:00:00Z", accepted="yes", measured="by rule")
    assert why(bench, "wash", "w01") == ""


def test_wetted_again_it_is_not_dry() -> None:
    bench = checked()
    pilot = washed(bench)
    through(bench, "lime-bath", "w05", "2026-03-10T13:00:00Z", "2026-03-10T13:30:00Z")
    with pytest.raises(Refusal, match="not dry yet"):
        judged(bench, pilot, "2026-03-12T18:00:00Z", accepted="yes", measured="by rule")


def test_an_accepted_pilot_keeps_its_course_when_its_sheet_is_treated_on() -> None:
    bench = checked()
    pilot = washed(bench)
    judged(bench, pilot, "2026-03-11T18:00:00Z", accepted="yes", measured="by rule")
    held = bench.state.pilots[pilot]
    through(bench, "wash", "w05", "2026-03-12T13:00:00Z", "2026-03-12T13:30:00Z")
    assert course_of(bench.state, held).dried_at == "2026-03-09T17:00:00Z"
    assert held.through == ("wash",) and why(bench, "wash", "w01") == ""


def test_an_override_needs_its_reason_and_is_kept() -> None:
    bench = checked()
    form = {"kind": "wash", "places": "w01"}
    with pytest.raises(Refusal) as caught:
        treat.start_step(bench.state, form)
    assert caught.value.rule == "pilot-first"
    reason = "twelve like it went through the same tray this spring"
    bench.do(treat.start_step(bench.state, {**form, "override": reason}))
    (kept,) = bench.state.overrides.values()
    assert (kept.rule, kept.reason) == ("pilot-first", reason)


def test_the_least_important_sheet_is_suggested_with_the_reason() -> None:
    bench = annual()
    sheet, says = suggested(bench.state)
    assert sheet == "w05" and "nothing to keep" in says
    bench.do(note_keep(bench.state, {"what": "pencil price", "place": "w05.outer.left"}))
    bench.do(note_defect(bench.state, {"place": "w04", "term": "tear"}))
    assert suggested(bench.state)[0] == "w06"


def test_a_scraps_moments_are_by_the_clock_of_the_bench() -> None:
    bench = checked()
    scrap = chosen(bench, scrap="a strip")
    form = {"id": scrap, "washed_at": "2026-07-08 13:00", "dried_at": "2026-07-09T13:00Z"}
    bench.do(tell_scrap(bench.state, {**form, "zone": "Europe/Lisbon"}))
    held = bench.state.pilots[scrap]
    assert (held.washed_at, held.dried_at) == ("2026-07-08T12:00:00Z", "2026-07-09T13:00:00Z")


@pytest.mark.parametrize(
    "form", [{}, {"place": "w05", "scrap": "a strip"}, {"place": "w99"}, {"place": "w01 w02"},
             {"place": "item"}]
)  # fmt: skip
def test_what_is_no_pilot_is_refused(form):
    with pytest.raises(Refusal) as caught:
        choose_pilot(annual().state, form)
    assert caught.value.problems[0].field == "place"


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"washed_at": "yesterday"}, "washed_at"),
        ({"dried_at": "2026-03-08T13:00"}, "dried_at"),
        ({"washed_at": "2026-03-08T13:00", "dried_at": "2026-03-07T13:00"}, "dried_at"),
        ({"washed_at": "2026-03-20T13:00"}, "washed_at"),
        ({"washed_at": "2026-03-08T13:00", "through": "fire"}, "through"),
    ],
)
def test_a_scraps_course_that_cannot_be_is_refused_at_its_box(told, field):
    bench = checked()
    scrap = chosen(bench, scrap="a strip")
    with pytest.raises(Refusal) as caught:
        tell_scrap(bench.state, {"id": scrap, "at": "2026-03-11T18:00:00Z", **told})
    assert caught.value.problems[0].field == field
