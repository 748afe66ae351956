"""What really happened against a plan: fixed, late, taken, and the plan asked for anew."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from bench_plans import plan_text
from quirewell.record.benchwork import BenchPlan, Pilot
from quirewell.record.nouns import Item, ItemState, Step
from quirewell.stages import bench_planning as planning
from quirewell.stages.plan_progress import happened, moved, replan, standing
from quirewell.stages.plan_told import over


@pytest.fixture(scope="module")
def plan():
    return BenchPlan("bench-plan-1", planning.ask({"plan": plan_text()}))


@pytest.fixture(scope="module")
def told(plan):
    return planning.as_json(plan.run)


def row_of(told, step, sheet=""):
    return next(
        row for row in told["steps"]
        if row["step"] == step and (not sheet or sheet in row["sheets"])
    )  # fmt: skip


def item(*steps: Step) -> ItemState:
    return ItemState("annual", 5, Item("Copperbeck Garden Annual"),
                     steps={step.id: step for step in steps})  # fmt: skip


def step(id, told, key, sheet="", begun="", done="", **more) -> Step:
    row = row_of(told, key, sheet)
    state = "done" if done else "started"
    places = tuple(more.pop("places", row["sheets"])) or ("item",)
    return Step(id, row["kind"], places, state, task=more.pop("task", row["id"]),
                started_at=begun, done_at=done, **more)  # fmt: skip


def test_steps_of_the_record_fix_the_works_they_name(told):
    soak = step("s1", told, "soak", "w01", "2026-10-23T18:30:00.000Z")
    rows = happened(told, [item(soak)])
    assert rows == [
        {"work": "annual/w01/soak", "start": "2026-10-23T18:30:00.000Z"},
        {"work": "annual/w02/soak", "start": "2026-10-23T18:30:00.000Z"},
    ]
    one = step("s1", told, "soak", "w01", "2026-10-23T18:30:00Z", places=["w02.outer"])
    assert [row["work"] for row in happened(told, [item(one)])] == ["annual/w02/soak"]
    named = step("s1", told, "soak", "w01", "2026-10-23T18:30:00Z", task="annual/w01/soak")
    assert [row["work"] for row in happened(told, [item(named)])] == ["annual/w01/soak"]


def test_a_step_of_another_item_a_planned_one_and_one_without_time_fix_nothing(told):
    soak = step("s1", told, "soak", "w01", "2026-10-23T18:30:00Z")
    other = ItemState("two", 5, Item("Companion"), steps={"s1": soak})
    assert happened(told, [other]) == []
    assert happened(told, [item(step("s2", told, "soak", "w01"))]) == []


def test_an_end_alone_says_when_it_began_by_how_long_it_took(told):
    done = step("s1", told, "clean", "w01", done="2026-10-23T18:00:00Z")
    (row,) = happened(told, [item(done)])
    assert row["start"] == "2026-10-23T17:50:00+00:00" and row["end"] == "2026-10-23T18:00:00Z"


def test_standing_says_state_what_follows_from_it_and_what_is_late(told):
    clean = step("s1", told, "clean", "w01", "2026-10-23T17:30:00Z", "2026-10-23T17:40:00Z")
    seen = standing(told, [item(clean)], "2026-10-23T20:30:00Z")
    assert row_of(seen, "clean", "w01")["state"] == "done"
    apart = row_of(seen, "apart")
    assert apart["state"] == "done" and apart["taken"] and not apart["done_at"]
    assert row_of(seen, "joined")["state"] == "planned"
    assert any("Laid in water" in says and "ago" in says for says in seen["late"])
    assert not any("Taken apart" in says for says in seen["late"])
    assert standing(told, [item()])["late"] == []


def test_a_sheet_laid_down_dries_without_a_note_of_it(told):
    row = row_of(told, "lift", "w01")
    lift = step("s1", told, "lift", "w01", row["start"], row["end"])
    dry = row_of(standing(told, [item(lift)], "2026-10-24T02:00:00Z"), "dry", "w01")
    assert dry["state"] == "started" and dry["taken"] and dry["begun_at"] == row["end"]


def test_a_plan_asked_anew_keeps_what_happened_and_moves_the_rest(plan, told):
    """Friday is lost after the cleaning: nothing is washed before Monday."""
    clean = step("s1", told, "clean", "w01", "2026-10-23T17:30:00Z", "2026-10-23T17:41:00Z")
    params = replan(plan, [item(clean)], "2026-10-23T21:30:00Z")
    run = planning.ask(params)
    again = planning.as_json(run)
    assert row_of(again, "clean", "w01")["end"] == "2026-10-23T18:41+01:00"
    assert row_of(again, "clean", "w01")["state"] == "done"
    for row in again["steps"]:
        if row["state"] == "planned":
            assert datetime.fromisoformat(row["start"]) >= datetime.fromisoformat(again["now"])
    assert again["status"] == "proved" and again["finish"] == "2026-10-27T18:40+00:00"
    assert again["start"] == told["start"], "the same plan, so that its calendar moves"
    assert moved(told, again) == "Everything is done 24 h later than in the plan before."
    # once more from there, with what was known before kept
    third = replan(BenchPlan("bench-plan-2", run), [item(clean)], "2026-10-24T10:00:00Z")
    assert planning.as_json(planning.ask(third))["finish"] == again["finish"]


def test_the_look_at_the_pilot_and_a_dry_scrap_come_from_the_pilots_own_record():
    told = planning.as_json(planning.ask({"plan": plan_text("", 'pilot = "scrap"')}))
    look = row_of(told, "pilot-look")
    dry = row_of(told, "dry", "scrap")
    pilot = Pilot("p", scrap="a margin", washed_at="2026-10-23T19:00:00Z",
                  dried_at="2026-10-24T08:00:00Z", looked_at="2026-10-25T10:00:00Z")  # fmt: skip
    state = ItemState("annual", 5, Item("Copperbeck Garden Annual"), pilots={"p": pilot})
    held = {row["work"]: row for row in happened(told, [state])}
    assert held[dry["works"][0]]["end"] == "2026-10-24T08:00:00Z"
    assert held[look["works"][0]]["end"] == "2026-10-25T10:00:00Z"
    seen = standing(told, [state], "2026-10-25T12:00:00Z")
    assert row_of(seen, "fill", "scrap")["state"] == "done"
    assert row_of(seen, "fill", "w01")["state"] == "planned"


def test_a_pilot_that_was_not_accepted_ends_the_plan(plan):
    no = ItemState("annual", 5, Item("Copperbeck Garden Annual"),
                   pilots={"p": Pilot("p", place="w01", accepted="no")})  # fmt: skip
    with pytest.raises(ValueError, match="was not accepted"):
        replan(plan, [no], "2026-10-24T10:00:00Z")


def test_drying_found_dry_early_ends_early(plan, told):
    lift = row_of(told, "lift", "w01")
    steps = [
        step(f"l{n}", told, "lift", sheet, row_of(told, "lift", sheet)["start"],
             row_of(told, "lift", sheet)["end"])
        for n, sheet in enumerate(("c", "w01"))
    ]  # fmt: skip
    dried = Step("d", "dry", ("w01",), "done", task=row_of(told, "dry", "w01")["id"],
                 started_at=lift["end"], done_at="2026-10-24T01:00:00+00:00")  # fmt: skip
    params = replan(plan, [item(*steps, dried)], "2026-10-24T01:05:00Z")
    again = planning.as_json(planning.ask(params))
    dry = row_of(again, "dry", "w01")
    assert dry["state"] == "done" and dry["end"] == "2026-10-24T02:00+01:00"


def test_a_bath_that_nobody_lifted_in_time_is_said_and_done_first(plan, told):
    soak = row_of(told, "soak", "w01")
    began = datetime.fromisoformat(soak["start"])
    bath = step("s1", told, "soak", "w01", soak["start"], soak["end"])
    now = began.replace(hour=21, minute=30).isoformat()
    again = planning.as_json(planning.ask(replan(plan, [item(bath)], now)))
    assert any("Too late already, do it first" in note for note in again["assumes"])
    lift = row_of(again, "lift", "w01")
    assert lift["start"] == datetime.fromisoformat(now).isoformat(timespec="minutes")


def test_a_plan_left_lying_for_most_of_a_year_can_be_taken_up_again() -> None:
    from quirewell.stages.plan_text import read_plan

    text = (
        '[plan]\nstart = "2026-03-30 18:00"\nzone = "UTC"\n'
        '\n[studio]\nhours = "Mo-Fr 18:00-22:00"\n'
        '\n[[item]]\nname = "Show Book"\nrecipe = "dry-clean"\nwraps = 2\n'
    )
    read = read_plan(text, now="2026-11-28T20:00:00Z")
    later = [begin for begin, _ in read.problem.shop.hours if begin > read.problem.now]
    assert later and read.problem.now > 240 * 1440


def test_a_plan_that_should_long_be_done_is_out_of_date_and_not_merely_late(told):
    end = datetime.fromisoformat(told["finish"])
    seen = standing(told, [item()])
    assert not over(seen, end), "the evening it ends on, what is late is late"
    assert not over(seen, end + timedelta(hours=11, minutes=59))
    assert over(seen, end + timedelta(hours=12))
    done = {**seen, "steps": [{**row, "state": "done"} for row in seen["steps"]]}
    assert not over(done, end + timedelta(days=9)), "nothing of it is left"
