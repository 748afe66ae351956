"""Ink tests stand for a bath only when they were as warm, as long and as soapy as it is."""

from decimal import Decimal

import pytest

from folding import Bench, annual, ready
from quirewell.stages import treat
from quirewell.stages.checks import add_colour
from quirewell.stages.gates import objections, pointers
from quirewell.stages.ink_gate import colours_of
from quirewell.stages.keeping import note_keep
from quirewell.stages.noting import note_defect
from quirewell.stages.refusal import Refusal
from quirewell.stages.step_table import STEP_KINDS

COLD = "cold, one wrap at a time"
SOAPY = "warm with surfactant, two wraps at a time"


def put_test(bench: Bench, **more: str) -> None:
    form = {"place": "w01", "colour": "black", "liquid": "water", "result": "no change", **more}
    bench.do(treat.record_spot_test(bench.state, form))


def wash(bench: Bench, **more: str) -> None:
    form = {"kind": "wash", "places": "w01", "way": COLD, "minutes": "30", **more}
    treat.start_step(bench.state, form)


def refused(bench: Bench, **more: str) -> str:
    with pytest.raises(Refusal) as caught:
        wash(bench, **more)
    assert caught.value.rule == "ink-test"
    return str(caught.value)


def test_a_short_cold_test_does_not_speak_for_a_long_warm_bath_with_surfactant() -> None:
    bench = ready(annual())
    put_test(bench, minutes="2", temperature="12C")
    says = refused(bench, way=SOAPY, temperature="32C")
    assert "tested 2 min in water at 12 °C; this bath is 32 °C, with surfactant, for 30 min" in says


@pytest.mark.parametrize(
    ("minutes", "celsius", "stands"),
    [("30", "19", True), ("29", "19", False), ("45", "14", True), ("30", "13", False)],
)
def test_minutes_count_in_full_and_warmth_within_some_degrees(minutes, celsius, stands):
    bench = ready(annual())
    put_test(bench, minutes=minutes, temperature=f"{celsius}C")
    if stands:
        wash(bench, temperature="19C")
    else:
        refused(bench, temperature="19C")


def test_surfactant_stands_only_where_the_test_had_it() -> None:
    bench = ready(annual())
    put_test(bench, minutes="30", temperature="32C")
    assert "with surfactant" in refused(bench, way=SOAPY, temperature="32C")
    put_test(bench, minutes="30", temperature="32C", liquid="water with surfactant")
    wash(bench, way=SOAPY, temperature="32C")


def test_a_surfactant_among_the_materials_counts_as_one_in_the_way() -> None:
    bench = ready(annual())
    put_test(bench, minutes="30", temperature="19C")
    assert "surfactant" in refused(bench, lots="photographic wetting agent; W-03; 1 mL")


def test_a_warm_way_without_a_number_needs_a_warm_test() -> None:
    bench = ready(annual())
    put_test(bench, minutes="30", temperature="19C")
    assert "this bath is warm" in refused(bench, way="warm, one wrap at a time")
    put_test(bench, minutes="30", temperature="30C")
    wash(bench, way="warm, one wrap at a time")


def test_an_old_test_that_says_neither_minutes_nor_warmth_only_points() -> None:
    bench = ready(annual())
    put_test(bench)
    wash(bench, way=SOAPY, temperature="32C")
    planned = {"kind": "wash", "places": "w01", "way": SOAPY, "minutes": "30"}
    bench.do(treat.plan_step(bench.state, planned))
    (step,) = bench.state.steps.values()
    (says,) = pointers(bench.state, STEP_KINDS["wash"], ("w01",), 32.0, step=step)
    assert "does not say its minutes nor its warmth nor a surfactant" in says


def test_the_planned_minutes_of_a_recipe_are_the_bath_that_must_be_stood() -> None:
    from dataclasses import replace

    bench = ready(annual())
    put_test(bench, minutes="10", temperature="19C")
    bench.do(treat.plan_step(bench.state, {"kind": "wash", "places": "w01"}))
    (step,) = bench.state.steps.values()
    timed = replace(step, planned_minutes=Decimal(20))
    (found,) = objections(bench.state, STEP_KINDS["wash"], ("w01",), 19.0, step=timed)
    assert found.rule == "ink-test" and "for 20 min" in found.says
    assert objections(bench.state, STEP_KINDS["wash"], ("w01",), 19.0, step=step) == ()


def test_every_colour_on_a_sheet_needs_its_own_test() -> None:
    bench = ready(annual())
    put_test(bench)
    bench.do(add_colour(bench.state, {"colour": "violet stamp", "places": "w01"}))
    assert "violet stamp on wrap 1 is not tested with water" in refused(bench)
    wash(bench, places="w02", override="only this sheet is another one")
    put_test(bench, colour="violet stamp")
    wash(bench)


def test_each_colour_is_asked_for_in_the_alkaline_bath_too() -> None:
    bench = ready(annual())
    put_test(bench, liquid="lime water 1:1")
    put_test(bench, colour="red")
    with pytest.raises(Refusal, match="red on wrap 1 is not tested with lime water"):
        treat.start_step(bench.state, {"kind": "lime-bath", "places": "w01"})


def test_writing_noted_as_damage_is_a_colour_and_rust_is_none() -> None:
    bench = ready(annual())
    for term in ("writing", "rust stain", "ink rub"):
        bench.do(note_defect(bench.state, {"place": "w02.outer.left", "term": term}))
    bench.do(note_defect(bench.state, {"place": "w02", "term": "violet stamp"}))
    names = [name for name, _ in colours_of(bench.state, "w02")]
    assert names == ["writing", "violet stamp"]
    assert colours_of(bench.state, "w03") == ()


def test_a_lime_test_made_on_a_keep_speaks_for_it_by_its_place() -> None:
    bench = ready(annual())
    put_test(bench, place="w01", minutes="40", temperature="20C")
    kept = {"what": "pencil price", "place": "w01.outer.left"}
    bench.do(note_keep(bench.state, kept))
    with pytest.raises(Refusal, match=r"pencil price on wrap 1.*not tested") as caught:
        wash(bench)
    assert caught.value.rule == "keep-untested"
    put_test(bench, place="w01.outer.left", colour="graphite", minutes="40", temperature="20C")
    wash(bench)


def test_of_several_tests_the_nearest_to_the_bath_is_named() -> None:
    bench = ready(annual())
    put_test(bench, minutes="5", temperature="12C", liquid="lime water")
    put_test(bench, minutes="30", temperature="32C", liquid="water with surfactant")
    says = refused(bench, way=SOAPY, temperature="40C", minutes="30")
    assert "tested 30 min in water with surfactant at 32 °C" in says


def test_what_is_kept_asks_once_and_not_as_a_colour_too() -> None:
    bench = ready(annual())
    put_test(bench, minutes="30", temperature="19C")
    bench.do(note_keep(bench.state, {"what": "dates in pencil", "place": "w01.outer.left"}))
    put_test(bench, place="w01.outer.left", colour="pencil", minutes="5", temperature="19C")
    with pytest.raises(Refusal) as caught:
        wash(bench, temperature="19C")
    assert caught.value.rule == "keep-untested" and len(caught.value.problems) == 1
    assert "tested 5 min in water at 19 °C" in str(caught.value)


def test_minutes_planned_as_the_step_starts_are_the_bath_to_be_stood_too() -> None:
    bench = ready(annual())
    put_test(bench, minutes="10", temperature="19C")
    form = {"kind": "wash", "places": "w01", "temperature_c": "19", "planned": "20"}
    with pytest.raises(Refusal, match="for 20 min"):
        treat.start_step(bench.state, form)
    bench.do(treat.start_step(bench.state, {**form, "planned": "10"}))
    (step,) = bench.state.steps.values()
    assert step.planned_minutes == Decimal(10)
