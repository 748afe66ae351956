"""The press on its own page and on an item's: stacks laid out and kept, dummies, materials."""

from __future__ import annotations

import html

import pytest

from quirewell.stages.press_bench import PRESETS, laid_words
from quirewell.stages.press_entry import read_pressing
from web.conftest import Bench

SMALL = {"wraps": "4", "above": "aluminium\ncard", "below": "blotter\nthin board",
         "platen_c": "60", "minutes": "10", "start_rh_pct": "50"}  # fmt: skip
LOG = b"time_min,T1\n" + b"".join(
    b"%d,%.1f\n" % (n, v)
    for n, v in enumerate([20.0, 30.5, 38.6, 44.1, 47.9, 50.4, 52.0, 53.1, 53.9, 54.4, 54.8])
)


def _post(bench: Bench, path: str, form: dict[str, str], **files: object) -> str:
    answer = bench.client.post(path, data=form, files=files or None)
    assert answer.status_code in (200, 303, 400, 422)
    return html.unescape(answer.text)


@pytest.mark.parametrize("recipe", PRESETS, ids=lambda one: one.id)
def test_every_preset_is_a_pressing_and_says_so(recipe) -> None:
    plan = read_pressing(recipe.params)
    assert "above:" in laid_words(recipe)
    if "some benches" not in recipe.note and "same heat" not in recipe.note:
        assert plan.hottest_c <= 65


def test_a_stack_is_laid_out_kept_and_offered_again(bench: Bench) -> None:
    page = bench.client.get(bench.url("/finish?stack=release-below")).text
    assert "Laid out in the form below, not worked out yet" in page
    assert ">release sheet\nthin board" in page
    _post(bench, bench.url("/finish/press"), SMALL)
    _post(bench, bench.url("/finish/stack"), {"name": "evening stack"})
    page = bench.client.get("/bench/press").text
    assert "evening stack" in page
    assert "heat from above, 60 °C, 10 minutes" in page
    kept = bench.client.get(bench.url("/finish")).text
    assert ">evening stack</option>" in kept
    assert "Give the stack a name" in _post(bench, bench.url("/finish/stack"), {"name": " "})


def test_nothing_is_chosen_beforehand(bench: Bench) -> None:
    page = bench.client.get(bench.url("/finish")).text
    assert '<option value="" selected>as below</option>' in page
    assert 'name="platen_c" value="65"' in page


def test_pressed_as_planned_is_a_step_and_its_days_stand_on_the_page(bench: Bench) -> None:
    _post(bench, bench.url("/treat/start"), {"kind": "humidify", "places": "item"})
    _post(bench, bench.url("/finish/press"), SMALL)
    said = _post(bench, bench.url("/finish/pressed"), {"override": ""})
    assert "Before it starts" in said
    assert "was wetted and not dried since" in said
    page = _post(bench, bench.url("/finish/pressed"), {"override": "dried by hand, not written"})
    assert "Pressed as planned: recorded" in page
    assert "Heat and damp of the treatment aged it" in page


def test_a_dummy_calibrates_the_press_and_items_use_it(bench: Bench) -> None:
    form = {"press": "book press", "stack": "damp", "wraps": "4", "start_rh_pct": "60",
            "before_g": "40", "after_g": "39.4", "weighed_min": "15"}  # fmt: skip
    refused = _post(bench, "/bench/press/calibrate", form, log=("log.csv", LOG, "text/csv"))
    assert "which column of log.csv lay in the pamphlet" in refused
    assert 'value="book press"' in refused
    page = _post(
        bench, "/bench/press/calibrate", {**form, "columns": "centre=T1"},
        log=("log.csv", LOG, "text/csv"),
    )  # fmt: skip
    assert "by the log log.csv" in page
    assert "Calibrated: the fold, °C" in page
    finish = bench.client.get(bench.url("/finish")).text
    assert ">book press</option>" in finish
    assert bench.studio.bench().known_presses()[0].press == "book press"


def test_a_dummy_without_a_name_or_a_stack_is_told(bench: Bench) -> None:
    assert "Choose the stack" in _post(bench, "/bench/press/calibrate", {"press": "a"})
    said = _post(bench, "/bench/press/calibrate", {"stack": "damp"})
    assert "Give the press a name" in said
    said = _post(bench, "/bench/press/calibrate", {"stack": "damp", "press": "a"})
    assert "nothing was read" in said


def test_own_materials_are_kept_and_reach_the_form(bench: Bench) -> None:
    said = _post(bench, "/bench/press/materials", {"lines": "old felt: soft"})
    assert "is no material" in said
    line = "old felt: 180 kg/m3, 0.045 W/mK, 3 times air, 4 mm"
    page = _post(bench, "/bench/press/materials", {"lines": line})
    assert "old felt" in page
    assert "yours" in page
    form = bench.client.get(bench.url("/finish")).text
    assert line in html.unescape(form)


def test_how_many_runs_are_done_can_be_asked(bench: Bench) -> None:
    assert bench.client.get(bench.url("/finish/press/runs")).json() == {}
