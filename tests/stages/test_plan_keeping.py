"""Bench plans in the studio: what the bench has, a plan's text out of the items, plans kept."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bench_plans import COURSE
from quirewell.record.apply import noun_of
from quirewell.record.bench import BenchState
from quirewell.record.benchwork import Pilot, Recipe
from quirewell.record.codec import from_body
from quirewell.record.finding import Run
from quirewell.record.nouns import Gathering, Item, ItemState
from quirewell.stages import plan_job, plan_keeping
from quirewell.stages.plan_text import read_plan
from quirewell.stages.refusal import Refusal

FORM = {
    "items": "annual", "recipe": "short-way", "start": "2026-10-23T18:00",
    "zone": "Europe/Lisbon",
}  # fmt: skip
INTO = {"shop.set": "shops", "bench_plan.kept": "bench_plans"}


def bench() -> BenchState:
    recipe = Recipe("recipe-1", "short-way", 3, "Washed and dried", COURSE)
    return BenchState(version=1, courses={recipe.id: recipe})


def item(id="annual", title="Copperbeck Garden Annual", wraps=2, **more) -> ItemState:
    return ItemState(id, 3, Item(title, "1936"), Gathering(wraps) if wraps else None, **more)


def kept(held: BenchState, drafts) -> BenchState:
    for draft in drafts:
        if draft.kind == "record.retracted":
            plans = {k: v for k, v in held.bench_plans.items() if k != draft.body["id"]}
            held = replace(held, version=held.version + 1, bench_plans=plans)
            continue
        noun = noun_of(draft.kind, draft.body)
        into = INTO[draft.kind]
        had = {**getattr(held, into), noun.id: noun}
        held = replace(held, version=held.version + 1, **{into: had})
    return held


def refusal(call, *arguments):
    with pytest.raises(Refusal) as caught:
        call(*arguments)
    return caught.value


def test_the_bench_begins_with_one_persons_evenings_and_keeps_what_is_said():
    held = bench()
    begun = plan_keeping.shop_form(held)
    assert begun["people"] == "1" and begun["hours"] == "Mo-Fr 18:00-22:00"
    held = kept(held, plan_keeping.set_shop(held, {
        "people": "2", "hours": "Mo-Fr 18-22\nSa 9-13", "off": "2026-12-24 to 2026-12-27",
        "place:tray": "3", "more": "light table 1",
    }))  # fmt: skip
    now = plan_keeping.shop_form(held)
    assert now["people"] == "2" and now["hours"] == "Mo-Fr 18-22\nSa 9-13"
    assert now["place:tray"] == "3" and now["place:light table"] == "1"
    assert now["place:rack"] == begun["place:rack"]
    held = kept(held, plan_keeping.set_shop(held, {"place:tray": "1"}))
    assert plan_keeping.shop_form(held)["hours"] == "Mo-Fr 18-22\nSa 9-13"
    plan = read_plan(plan_keeping.text_of(held, [item()], FORM))
    assert plan.problem.shop.places["tray"] == 1 and plan.problem.shop.people == 2


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"people": "none"}, "people"),
        ({"people": "99"}, "people"),
        ({"hours": "Mo evening"}, "hours"),
        ({"hours": "Mo 22-18"}, "hours"),
        ({"off": "2026-02-31"}, "off"),
        ({"extra": "2026-12-26"}, "extra"),
        ({"place:tray": "-1"}, "place:tray"),
        ({"more": "light table"}, "more"),
    ],
)
def test_what_the_bench_cannot_have_is_refused_at_its_box(form, field):
    refused = refusal(plan_keeping.set_shop, bench(), form)
    assert refused.problems[0].field == field and refused.values == form
    assert not str(refused)[0].islower() and str(refused).endswith((".", "?"))


def test_a_plans_text_out_of_an_item_stands_by_itself():
    text = plan_keeping.text_of(bench(), [item()], {**FORM, "minutes:annual": "soak 45",
                                                    "drying:annual": "1,2"})  # fmt: skip
    plan = read_plan(text)
    assert plan.items[0].course.id == "short-way@3" and plan.items[0].id == "annual"
    assert plan.items[0].sheets == ("c", "w01", "w02") and plan.items[0].drying == 1.2
    held = {work.id: work for work in plan.problem.works}
    assert held["annual/w01/soak"].minutes == 45


def test_the_pilot_is_the_one_the_record_waits_for():
    first = Pilot("pilot-1", place="w02")
    assert plan_keeping.pilot_of(item(pilots={"pilot-1": first})) == "w02"
    assert plan_keeping.pilot_of(item(pilots={"p": Pilot("p", scrap="a margin")})) == "scrap"
    assert plan_keeping.pilot_of(item(pilots={"p": replace(first, accepted="yes")})) == ""
    text = plan_keeping.text_of(bench(), [item(pilots={"p": first})], FORM)
    assert read_plan(text).items[0].pilot == "w02"
    none = plan_keeping.text_of(bench(), [item(pilots={"p": first})],
                                {**FORM, "pilot:annual": "none"})  # fmt: skip
    assert read_plan(none).items[0].pilot == ""


@pytest.mark.parametrize(
    ("form", "states", "field"),
    [
        ({"items": ""}, [item()], "items"),
        ({"items": "nobody"}, [item()], "items"),
        ({"recipe": ""}, [item()], "recipe:annual"),
        ({"recipe": "none-such"}, [item()], "recipe"),
        ({}, [item(wraps=0)], "sheets:annual"),
        ({"start": ""}, [item()], "start"),
        ({"start": "soon"}, [item()], "start"),
        ({"zone": "Nowhere/Here"}, [item()], "zone"),
        ({"drying:annual": "slow"}, [item()], "drying:annual"),
        ({"minutes:annual": "boil 5"}, [item()], "minutes:annual"),
        ({"trays:annual": "w01 w09"}, [item()], "trays:annual"),
        ({"sheets:annual": "w0x"}, [item()], "sheets:annual"),
        ({"time_limit_s": "long"}, [item()], "time_limit_s"),
    ],
)
def test_what_cannot_be_planned_is_refused_at_its_box(form, states, field):
    refused = refusal(plan_keeping.ask, bench(), states, {**FORM, **form})
    assert refused.problems[0].field == field, str(refused)
    assert refused.values["zone"] == form.get("zone", "Europe/Lisbon")


def test_names_that_try_to_leave_their_quotes_stay_names():
    title = '\x1bAn "odd"\\ one\n[[item]]\nname = "x"'
    text = plan_keeping.text_of(bench(), [item(title=title)], FORM)
    plan = read_plan(text)
    assert len(plan.items) == 1 and plan.items[0].name.strip().startswith('An "odd"\\ one')


def test_a_plan_is_kept_told_again_and_set_aside():
    held = bench()
    params = plan_keeping.ask(held, [item()], FORM)
    run = from_body(Run, plan_job.search(params))
    held = kept(held, plan_keeping.keep(held, run, {}, "2026-10-23T12:00:00Z"))
    plan = plan_keeping.newest(held)
    assert plan is not None and plan.items == {"Copperbeck Garden Annual": "annual"}
    told = plan_keeping.told_of(plan)
    assert told["id"] == plan.id and told["status"] == "proved" and told["steps"]
    held = kept(held, plan_keeping.aside(held, {"id": plan.id}))
    assert plan_keeping.newest(held) is None
    assert "no such plan" in str(refusal(plan_keeping.aside, held, {"id": plan.id}))
