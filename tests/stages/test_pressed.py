"""Pressed as planned: the step keeps its course, and the item's days follow by themselves."""

from __future__ import annotations

import pytest

from folding import Bench, annual
from quirewell.stages import treat
from quirewell.stages.pressed import pressed
from quirewell.stages.refusal import Refusal
from quirewell.stages.treating_heat import METHOD, as_json, read_stay
from quirewell.stages.working import keep

FORM = {"wraps": "4", "start_rh_pct": "50", "platen_c": "60", "minutes": "10"}


def test_the_step_keeps_its_course_and_the_days_follow() -> None:
    bench = annual()
    bench.do(keep("press")(bench.state, FORM))
    planned = bench.state.newest_run("press.run", "finish")
    assert planned is not None
    bench.do(pressed(bench.state, {"at": "2026-11-28T10:00:00Z"}))
    step = list(bench.state.steps.values())[-1]
    assert (step.kind, step.state, step.run) == ("press", "done", planned.id)
    assert (str(step.minutes), str(step.temperature_c)) == ("10", "60")
    total = bench.state.newest_run(METHOD, "item")
    assert total is not None
    days = next(one for one in planned.findings if one.quantity == "press.dose_days").value
    assert as_json(total)["days"]["value"] == pytest.approx(days, rel=0.01)


def test_a_second_warm_step_adds_up_and_typed_lines_stay() -> None:
    bench = annual()
    bench.do(keep("press")(bench.state, FORM))
    bench.do(pressed(bench.state, {}))
    first = as_json(bench.state.newest_run(METHOD, "item"))["days"]["value"]
    bench.do(keep("heat")(bench.state, {"stays": _lines(bench) + "\n121 C, 40 %, 5 s: hand iron"}))
    with_iron = as_json(bench.state.newest_run(METHOD, "item"))["days"]["value"]
    bench.do(
        treat.start_step(bench.state, {"kind": "press", "places": "item", "temperature_c": "55"})
    )
    started = list(bench.state.steps)[-1]
    bench.do(treat.finish_step(bench.state, {"id": started, "minutes": "20"}))
    out = as_json(bench.state.newest_run(METHOD, "item"))
    assert out["days"]["value"] > with_iron > first
    assert [row["stay"].split(". ", 1)[1] for row in out["stays"]] == [
        "Pressed", "Pressed", "hand iron",
    ]  # fmt: skip


def _lines(bench: Bench) -> str:
    run = bench.state.newest_run(METHOD, "item")
    assert run is not None
    return run.params["stays"].replace("; ", "\n")


def test_nothing_planned_is_a_sentence() -> None:
    with pytest.raises(Refusal, match="No pressing is planned"):
        pressed(annual().state, {})


def test_damp_paper_by_the_record_is_asked_about_first() -> None:
    bench = annual()
    bench.do(treat.start_step(bench.state, {"kind": "humidify", "places": "item"}))
    bench.do(treat.finish_step(bench.state, {"id": list(bench.state.steps)[-1], "minutes": "60"}))
    bench.do(keep("press")(bench.state, FORM))
    with pytest.raises(Refusal, match="Heat on damp acid"):
        pressed(bench.state, {})
    bench.do(pressed(bench.state, {"override": "rested two days at 50 %, weighed"}))
    assert list(bench.state.overrides.values())[-1].reason.startswith("rested")


def test_computed_days_are_read_and_refused() -> None:
    stay = read_stay("0.6 d (0.2 to 1.9): Pressed")
    assert stay.days().days == 0.6
    assert stay.days().high90_days == 1.9
    with pytest.raises(ValueError, match="computed days are"):
        read_stay("0.6 d (0.8 to 1.9)")
