"""Heat and damp of a treatment as equivalent days: stays as typed, summed, taken from steps."""

from __future__ import annotations

from decimal import Decimal

import pytest

from folding import Bench, annual
from quirewell.record.finding import Finding
from quirewell.science.paper.heat_dose import heat_dose
from quirewell.stages import treat
from quirewell.stages.methods import run_method
from quirewell.stages.treating_heat import METHOD, as_json, read_stay, stays_of


def summed(stays: str) -> dict[str, list[Finding]]:
    run = run_method(METHOD, "item", {}, (), {"stays": stays})
    out: dict[str, list[Finding]] = {}
    for finding in run.findings:
        out.setdefault(finding.quantity, []).append(finding)
    return out


@pytest.mark.parametrize(
    ("text", "warm", "rh", "hours", "name"),
    [
        ("68 C, 50 %, 15 min: pressed", 68, 0.5, 0.25, "pressed"),
        ("154.4 F, 15 min", 68, None, 0.25, "154.4 F, 15 min"),
        ("121 C, 45 s: iron: at the fold", 121, None, 0.0125, "iron: at the fold"),
        ("22, 95%, 24 h: chamber", 22, 0.95, 24, "chamber"),
        ("68C,50%,15min", 68, 0.5, 0.25, "68C,50%,15min"),
        ("67,5 C, 47,5 %, 1 h 10: pressed", 67.5, 0.475, 70 / 60, "pressed"),
    ],
)
def test_a_stay_is_read_as_people_write_it(text, warm, rh, hours, name):
    stay = read_stay(text)
    assert stay.temperature_c == pytest.approx(warm, abs=0.06)
    assert stay.rh == (None if rh is None else pytest.approx(rh))
    assert (stay.hours, stay.name) == (pytest.approx(hours), name)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("68 C", "a stay is temperature"),
        ("68 C, 0.5 %, 15 min", "share of 1"),
        ("68 C, 150 %, 15 min", "100 %"),
        ("68 C, 50 %, -15 min", "-15"),
        ("hot, 50 %, 15 min", "hot"),
    ],
)
def test_what_is_no_stay_is_refused_in_a_sentence(text, says):
    with pytest.raises(ValueError, match=says):
        read_stay(text)


def test_the_sum_is_that_of_its_parts_and_its_doubt_does_not_average_out():
    found = summed("68 C, 50 %, 15 min: pressed; 68 C, 50 %, 15 min: pressed again")
    one, again = found["heat.days"]
    (whole,) = found["heat.days_in_all"]
    assert (one.value, one.unit) == (pytest.approx(heat_dose(0.25, 68, 0.5).days), "d")
    assert whole.value == pytest.approx(one.value + again.value)
    # The same unknown energy in both: twice the days is twice the uncertainty, not 1.4 times.
    assert whole.u == pytest.approx(2 * one.u)
    assert whole.low90 < whole.value < whole.high90
    assert "an order of magnitude" in run_method(METHOD, "item", {}, (), {
        "stays": "68 C, 50 %, 15 min"}).warnings[0]  # fmt: skip


def test_unknown_damp_widens_the_band():
    (known,) = summed("68 C, 60 %, 15 min")["heat.days"]
    (unknown,) = summed("68 C, 15 min")["heat.days"]
    assert unknown.high90 / unknown.low90 > known.high90 / known.low90
    assert "humidity not known" in unknown.note


@pytest.mark.parametrize("stays", ["", " ; ", "; ".join(["68 C, 15 min"] * 201)])
def test_nothing_and_too_much_are_refused(stays):
    with pytest.raises(ValueError, match=r"nothing was warm|at most 200"):
        run_method(METHOD, "item", {}, (), {"stays": stays})


def steps(bench: Bench, kind: str, places: str, **form: str) -> None:
    bench.do(treat.start_step(bench.state, {"kind": kind, "places": places, **form}))


def test_the_sheet_that_heat_and_damp_reached_most_is_taken_from_the_steps():
    bench = annual()
    assert stays_of(bench.state) == ("", "")
    steps(bench, "humidify", "w01 w02", minutes="24 h")
    steps(bench, "dry", "w01 w02")
    dry = list(bench.state.steps)[-1]
    bench.do(treat.finish_step(bench.state, {"id": dry}))
    steps(bench, "press", "w02", minutes="15", temperature_c="60")
    sheet, lines = stays_of(bench.state)
    assert sheet == "w02"
    humid, press = map(read_stay, lines.split("\n"))
    assert (humid.rh, humid.hours) == (0.95, 24)
    assert (press.temperature_c, press.rh, press.hours) == (60, None, 0.25)


def test_its_json_carries_each_band():
    run = run_method(METHOD, "item", {}, (), {"stays": "68 C, 50 %, 15 min: pressed"})
    told = as_json(run)
    assert set(told["days"]) >= {"value", "u", "low90", "high90", "unit"}
    assert told["stays"][0]["note"].startswith("15 min of paper at 68 °C, 50 % RH")
    assert Decimal(str(told["days"]["value"])) > 0
