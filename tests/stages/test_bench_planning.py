"""The method ``bench.plan``: honest status, kept so that it can be held against the rules again."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from bench_plans import plan_text
from quirewell.stages import bench_planning as planning
from quirewell.stages.methods import find_method, run_method
from quirewell.stages.plan_told import not_excluded, says, sheets_words, table

EXAMPLE = Path(__file__).resolve().parents[2] / "examples/bench_plan/annual.toml"
STEP = {
    "id", "works", "item", "item_id", "sheets", "recipe", "step", "kind", "name", "start", "end",
    "start_min", "end_min", "minutes", "likely_minutes", "hands", "equipment", "tray", "slack_min",
    "wet", "can_wait", "safe_stop", "most_min", "state",
}  # fmt: skip


def asked(*parts: str, **more: str):
    return planning.ask({"plan": plan_text(*parts), **more})


@pytest.fixture(scope="module")
def run():
    return asked()


@pytest.fixture(scope="module")
def told(run):
    return planning.as_json(run)


def test_the_json_has_every_promised_key(told):
    assert {
        "status", "says", "makespan_min", "bound_min", "finish", "start", "zone", "by",
        "wet_wait_min", "conflict", "assumes", "hours", "steps",
    } <= set(told)  # fmt: skip
    assert all(set(row) >= STEP for row in told["steps"])
    json.dumps(told)


def test_the_small_plan_by_hand(told):
    """Friday: apart 30, clean 3 x 10; cover alone and both wraps in two trays; dry 600 min from
    the lift. The next evening anybody is there is Monday: joined 18:00 to 18:40."""
    assert told["status"] == "proved"
    assert told["finish"] == "2026-10-26T18:40+00:00"
    assert told["says"] == "Proved best: everything is done on Monday 26 October 2026 at 18:40."
    span = datetime.fromisoformat(told["finish"]) - datetime.fromisoformat(told["start"])
    assert told["makespan_min"] == told["bound_min"] == span // timedelta(minutes=1)


def test_minutes_and_moments_of_every_step_say_the_same(told):
    zero = datetime.fromisoformat(told["start"])
    for row in told["steps"]:
        begin, end = (datetime.fromisoformat(row[key]) for key in ("start", "end"))
        assert (begin - zero) // timedelta(minutes=1) == row["start_min"]
        assert (end - begin) // timedelta(minutes=1) == row["minutes"]


def test_sheets_that_share_a_tray_are_one_step_and_the_cover_goes_alone(told):
    soaks = [row for row in told["steps"] if row["step"] == "soak"]
    assert sorted(tuple(row["sheets"]) for row in soaks) == [("c",), ("w01", "w02")]
    both = next(row for row in soaks if len(row["sheets"]) == 2)
    assert both["id"] == "annual/w01+w02/soak" and both["equipment"] == ["tray"]
    assert both["works"] == ["annual/w01/soak", "annual/w02/soak"] and both["most_min"] == 60


def test_hands_lie_within_hours_and_no_bath_ends_at_night(told):
    hours = [tuple(map(datetime.fromisoformat, span)) for span in told["hours"]]
    for row in told["steps"]:
        begin, end = (datetime.fromisoformat(row[key]) for key in ("start", "end"))
        if row["hands"]:
            assert any(a <= begin and end <= b for a, b in hours), row["id"]
        if row["step"] == "soak":
            assert any(a <= end <= b for a, b in hours), row["id"]


def test_a_bath_over_the_change_of_clocks_is_not_shifted():
    """The last Sunday of October 2026: 02:00 becomes 01:00 in Lisbon. Work in that very night."""
    found = planning.as_json(
        planning.ask(
            {
                "plan": plan_text("", "", 'hours = "00:30-04:00"').replace(
                    "2026-10-23T18:00:00", "2026-10-25T00:30:00"
                )
            }
        )
    )
    soaks = [row for row in found["steps"] if row["step"] == "soak"]
    lifts = {tuple(row["sheets"]): row for row in found["steps"] if row["step"] == "lift"}
    for row in soaks:
        begin, end = (datetime.fromisoformat(row[key]) for key in ("start", "end"))
        assert end - begin == timedelta(minutes=30)
        wait = datetime.fromisoformat(lifts[tuple(row["sheets"])]["start"]) - end
        assert timedelta(0) <= wait <= timedelta(minutes=10)
    walls = {row["start"][-6:] for row in found["steps"]}
    assert walls == {"+01:00", "+00:00"}, "the plan lies on both sides of the change"


def test_a_recheck_finds_the_same_without_searching(run, monkeypatch):
    monkeypatch.setattr(planning, "find_plan", lambda *a, **k: pytest.fail("searched again"))
    again = run_method(run.method, run.subject, {}, params=run.params)
    assert again == run and find_method("bench.plan").kind == "search"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda held: held["placed"][0].__setitem__(1, 0), "breaks a rule"),
        (lambda held: held["placed"].pop(), "breaks a rule"),
        (lambda held: held.update(bound=10**6), "passes the bound"),
        (lambda held: held.update(bound=0), "does not meet its bound"),
        (lambda held: held.update(status="certain"), "no status"),
        (lambda held: held.update(status="impossible"), "places works all the same"),
        (lambda held: held.pop("placed"), "cannot be read back"),
    ],
)
def test_a_plan_altered_afterwards_does_not_pass(run, change, says):
    held = json.loads(run.params["found"])
    change(held)
    with pytest.raises(ValueError, match=says):
        run_method(run.method, run.subject, {}, params={**run.params, "found": json.dumps(held)})


def test_what_cannot_be_done_names_the_rules():
    """A bath that must be lifted within ten minutes, and nobody there longer than twenty."""
    found = planning.as_json(asked("days = 5", "", 'hours = "18:00-18:30"'))
    assert found["status"] == "impossible" and not found["steps"]
    assert found["conflict"] and found["says"].startswith("Cannot be done: these rules conflict")
    assert found["makespan_min"] is None and found["finish"] is None


def test_the_plain_rule_is_never_called_proved_and_says_what_is_open():
    found = planning.as_json(asked('by = "rule"'))
    assert found["by"] == "rule" and found["status"] == "found"
    assert found["says"].startswith("Best found:")


def test_what_is_not_excluded_is_said_in_days_first():
    base = {
        "status": "found", "conflict": [], "finish": "2026-12-05T20:00+00:00",
        "soonest": "2026-12-04T19:00+00:00", "makespan_min": 6000, "bound_min": 4500,
    }  # fmt: skip
    assert not_excluded(base) == "one day earlier is not excluded (at most 25 % better)"
    assert "Best found" in says(base)
    same = {**base, "soonest": "2026-12-05T18:30+00:00", "bound_min": 5910}
    assert not_excluded(same) == (
        "no day earlier is possible, at most 1 h 30 min sooner on that day (at most 2 % better)"
    )
    assert not_excluded({**base, "bound_min": 6000}) == "nothing sooner is possible"
    assert "up to 3 days" in not_excluded({**base, "soonest": "2026-12-02T19:00+00:00"})
    assert "not known" in not_excluded({**base, "bound_min": None})
    none = {**base, "status": "unknown", "by": "rule"}
    assert says(none) == "No plan was found, and none is excluded: let the solver look for one."
    assert "more time" in says({**none, "by": "solver"})


def test_findings_carry_their_unit_and_say_what_is_only_stated(run):
    held = {one.quantity: one for one in run.findings}
    assert held["bench.makespan"].unit == "min" and "stated" in held["bench.bound"].note
    # 30 apart, 3 x 10 clean, two trays with 5 + 5, 40 joined
    assert held["bench.attended"].value == 30 + 30 + 20 + 40


def test_the_table_by_day_names_sheets_as_people_do(told):
    lines = table(told)
    assert any(line.startswith("Friday 23 October 2026") for line in lines)
    assert any("Laid in water" in line and "wraps 1-2" in line for line in lines)
    assert any("likely 6 h 40 min" in line for line in lines)
    assert max(map(len, lines)) <= 100
    assert sheets_words(["c", "w02"]) == "cover, wrap 2"


def test_the_example_is_planned_with_its_pilot_first():
    found = planning.as_json(planning.ask({"plan": EXAMPLE.read_text(encoding="utf-8")}))
    assert found["status"] in ("proved", "found")
    fills = sorted((r["start"], r["sheets"]) for r in found["steps"] if r["step"] == "fill")
    look = next(row for row in found["steps"] if row["step"] == "pilot-look")
    assert fills[0][1] == ["w05"] and all(begin >= look["end"] for begin, _ in fills[1:])


def test_two_items_share_no_tray_unless_that_is_allowed():
    more = "[[item]]\nname = 'Companion'\nid = 'two'\nrecipe = 'short-way'\nwraps = ['w01']\n"
    apart = planning.as_json(asked("", "cover = false", "", more))
    for row in apart["steps"]:
        assert len({work.split("/")[0] for work in row["works"]}) == 1
    trays = {}
    for row in apart["steps"]:
        if row["tray"]:
            trays.setdefault(row["tray"], set()).add(row["item_id"])
    assert all(len(held) == 1 for held in trays.values())


def test_where_it_is_allowed_sheets_of_two_items_share_a_tray_and_are_done_sooner():
    """One tray, 45 minutes each evening, of which a bath by itself takes 40: Friday both are made
    ready, Saturday one is washed or both, dry the evening after."""
    short = "wraps = ['w01']\nminutes = {apart = 10, joined = 10}\n"
    more = f"[[item]]\nname = 'Companion'\nid = 'two'\nrecipe = 'short-way'\n{short}"
    bench = 'hours = "18:00-18:45"\n[studio.places]\ntray = 1'
    ends = {}
    for mix in ("false", "true"):
        text = plan_text(f"mix_items = {mix}", "", bench, more)
        text = text.replace("wraps = 2\n", short)
        found = planning.as_json(planning.ask({"plan": text}))
        soaks = [row for row in found["steps"] if row["step"] == "soak"]
        ends[mix] = found["finish"]
        assert len({row["item_id"] for row in soaks}) == 2
        assert len({row["tray"] for row in soaks}) == (1 if mix == "true" else 2)
    assert ends == {"true": "2026-10-25T18:20+00:00", "false": "2026-10-26T18:10+00:00"}


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"seconds": "0"}, "between 0.1 and 3600"),
        ({"by": "luck"}, "one of solver, rule"),
        ({"done": "["}, "done cannot be read"),
        ({"done": "[1]"}, "list of rows"),
        ({"found": "x"}, "cannot be read back"),
        ({"colour": "red"}, "knows no parameter"),
        ({"hint": "[1"}, "hint"),
    ],
)
def test_a_parameter_that_cannot_be_is_a_sentence(params, says):
    with pytest.raises(ValueError, match=says):
        run_method("bench.plan", "bench", {}, params={"plan": plan_text(), **params})
