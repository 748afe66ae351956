"""The studio's items as items of a plan: where numbers come from, and ugly terms."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest

from parcel_studio import ITEMS, STUDIO, TODAY, begun, filler, item, kept, planned
from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Sent
from quirewell.record.dealing import Choice, Custody, Holding, Returned, Sold
from quirewell.record.nouns import Item
from quirewell.stages import parcel_service as terms
from quirewell.stages import parcelling
from quirewell.stages.methods import run_method
from quirewell.stages.parcel_items import candidates, musts, names_of, plan_text
from quirewell.stages.parcel_text import read_plan
from quirewell.stages.parcel_what_if import beside, changed
from quirewell.stages.parcels_view import view
from quirewell.stages.refusal import Refusal


def test_the_filler_case_typed_on_the_page_gains_52_as_worked_by_hand():
    """35 + 35 - 8 - 10 = 52 with the filler, 20 + 20 - 10 = 30 without (own arithmetic)."""
    bench, id = filler()
    run, items = planned(bench, id)
    out = parcelling.as_json(run)
    assert out["total_gain"]["value"] == 52
    assert set(items.values()) == {"annual", "one", "two"}
    asked, says = changed(run.params, {"stay": "Two"})
    other = parcelling.as_json(parcelling.ask(asked))
    assert other["total_gain"]["value"] == 30
    assert beside(out, other)["more"] == -22
    assert says == ("Two stays",)
    moved = {one["item"]: one["after"] for one in beside(out, other)["moves"]}
    assert moved["Two"] == "stays" and "any number" in moved["Annual"]


def test_what_if_changes_one_thing_and_says_it():
    bench, id = filler()
    run, _ = planned(bench, id)
    asked, says = changed(run.params, {"tier": "three or more", "fee": "30,50", "later": "1"})
    assert "fee = 30.50" in asked["plan"] and "week = 1" in asked["plan"]
    assert says == (
        "three or more costs 30.50 instead of 25", "every parcel goes 1 week later",
    )  # fmt: skip
    assert "found" not in asked
    # Three fees of 5.50 more: 52 - 16.50.
    assert parcelling.as_json(parcelling.ask(asked))["total_gain"]["value"] == 35.5
    closed, _ = changed(run.params, {"tier": "three or more", "off": "yes"})
    assert parcelling.as_json(parcelling.ask(closed))["total_gain"]["value"] == 30
    for form, says_no in (
        ({}, "Change one thing"), ({"fee": "3"}, "Say which tier"), ({"tier": "x"}, "no tier"),
        ({"tier": "any number", "fee": "a"}, "not a number"),
    ):  # fmt: skip
        with pytest.raises(Refusal, match=says_no):
            changed(run.params, form)


@pytest.mark.parametrize(
    ("command", "form", "says"),
    [
        (terms.set_tier, {"name": "t", "fee": "3", "minimum": "5", "maximum": "2"}, "cannot be"),
        (terms.set_tier, {"name": "t"}, "fee"),
        (terms.set_tier, {"name": "t", "fee": "-3"}, "lies between 0"),
        (terms.set_tier, {"name": "", "fee": "3"}, "no name"),
        (terms.set_tier, {"name": "any number", "fee": "3"}, "called 'any number'"),
        (terms.set_tier, {"name": "t", "fee": "3.999"}, "two decimals"),
        (terms.set_tier, {"name": "t", "fee": "nan"}, "not a number"),
        (terms.set_parcel, {"name": "p", "cap": "x"}, "not a number"),
        (terms.set_parcel, {"name": "p", "when": "2026-13-40"}, "is a day as"),
        (terms.set_parcel, {"name": "p", "insurance_pct": "400"}, "between 0 and 100"),
        (terms.type_item, {"item": "a", "low": "30", "likely": "20"}, "go up"),
        (terms.type_item, {"item": "a", "low": "3", "high": "20"}, "likeliest value too"),
        (terms.type_item, {"item": "a", "ready": "2026-2-31"}, "is a day as"),
        (terms.type_item, {"item": "a", "value_now": "-1"}, "lies between"),
        (terms.type_item, {"item": "a", "goes": "perhaps"}, "no choice"),
        (terms.paste, {"text": "[tier]\nx"}, "no plan text"),
        (terms.paste, {"text": "tier = 3"}, "its own heading"),
        (terms.drop_row, {"kind": "tier", "name": "no such"}, "no such row"),
        (terms.drop_row, {"kind": "item", "name": "x"}, "no such row"),
        (terms.set_service, {"name": "x", "currency": ""}, "money"),
        (terms.set_service, {"name": "", "currency": "crowns"}, "name of your own"),
        (terms.set_service, {**STUDIO, "checked_on": "May"}, "is a day as"),
        (terms.set_service, {**STUDIO, "rates": "other 1.1"}, "as: other = 1.1"),
        (terms.set_service, {**STUDIO, "wait_pct": "300"}, "between 0 and 1"),
        (terms.set_tier, {"service": "gone", "name": "t", "fee": "1"}, "Name the receiver"),
    ],
)  # fmt: skip
def test_ugly_terms_are_refused_in_sentences(command, form, says):
    bench, id = filler()
    with pytest.raises(Refusal, match=says) as refused:
        command(bench, {"service": id, **form})
    for problem in refused.value.problems:
        assert problem.says[-1] in ".?!" and "[[" not in problem.says
        assert "shipment" not in problem.says


def test_a_row_is_changed_in_place_and_signs_of_the_text_stay_signs():
    bench, id = filler()
    name = 'a "quoted" = \\ tier'
    bench = kept(bench, terms.set_tier, service=id, was="any number", name=name, fee="7")
    rows = terms.rows_of(bench.services[id], "tier")
    assert [row["name"] for row in rows] == ["three or more", name]
    bench = kept(bench, terms.paste, service=id, text=bench.services[id].text)
    assert terms.rows_of(bench.services[id], "tier") == rows
    bench = kept(bench, terms.drop_row, service=id, kind="tier", name=name)
    assert len(terms.rows_of(bench.services[id], "tier")) == 1


def test_a_parcels_day_becomes_weeks_and_one_that_has_gone_is_left_out():
    bench, id = filler()
    bench = kept(bench, terms.set_parcel, service=id, name="soon", when="2026-12-12")
    bench = kept(bench, terms.set_parcel, service=id, name="gone", when="2026-11-01")
    among = candidates(ITEMS, bench.services[id], bench, TODAY)
    text, _, gone = plan_text(bench.services[id], among, TODAY)
    assert gone == ["gone"]
    assert {p.name: float(p.week) for p in read_plan(text).problem.parcels} == {
        "parcel": 0, "soon": 2,
    }  # fmt: skip


def test_invented_terms_are_laid_once_and_named_so():
    bench, id = begun()
    bench = kept(bench, terms.begin_example, service=id)
    assert all(row["name"].startswith("invented ") for row in terms.rows_of(
        bench.services[id], "tier"))  # fmt: skip
    assert view(bench, ITEMS, TODAY).invented
    with pytest.raises(Refusal, match="rows already"):
        terms.begin_example(bench, {"service": id})


def test_who_goes_is_said_with_its_reason():
    bench, id = filler()
    bench = kept(bench, terms.type_item, service=id, item="no", goes="no")
    bench = replace(bench, parcels={"parcel-1": Parcel("parcel-1", "spring", (Sent("away"),))})
    states = (
        item("away"), item("sold", sold={"sold": Sold(D(3))}), item("no"), item("plain"),
        item("back", returned={"r": Returned("r", D(5))}),
        item("left", choices={"choice": Choice("leave")}),
        item("pressed", choices={"choice": Choice("press only")}),
    )  # fmt: skip
    why = {one.item: (one.goes, one.why) for one in candidates(
        states, bench.services[id], bench, TODAY)}  # fmt: skip
    assert why["away"] == (False, "packed already, in spring")
    assert why["sold"] == (False, "sold") and why["no"] == (False, "stays, as you said")
    assert why["plain"] == (False, "nothing was chosen or weighed for it")
    assert why["back"] == (False, "came back with a grade")
    assert why["left"] == (False, "chosen to be left as it is")
    assert why["pressed"] == (True, "chosen: press only")


def test_values_come_from_the_grades_chances_the_range_or_one_price():
    run = run_method("condition.grade", "plan", {}, (), {"defects": "code,extent\nsoil,20 %\n"})
    chance = {float(one.subject): one.value for one in run.findings
              if one.quantity == "condition.chance"}  # fmt: skip
    grade = next(one.value for one in run.findings if one.quantity == "condition.grade")
    bench, id = filler()
    for name in ("graded", "bare"):
        bench = kept(bench, terms.type_item, service=id, item=name, goes="must", value_now="50",
                     low="60", likely="100", high="200")  # fmt: skip
    bench = kept(bench, terms.type_item, service=id, item="one", goes="yes", value_now="50",
                 likely="100")  # fmt: skip
    states = (item("graded", runs={run.id: run}), item("bare"), item("one"))
    among = candidates(states, bench.services[id], bench, TODAY)
    row = {one.item: one.row for one in among}
    low = sum(p for step, p in chance.items() if step < grade - 0.5)
    assert float(row["graded"]["chances"].get("lower", 0)) == pytest.approx(low, abs=1e-3)
    assert row["graded"]["values"].get("about") == 100
    # A PERT range of 60, 100, 200 has the mean (60 + 400 + 200) / 6 = 110 (malcolm1959).
    parts = row["bare"]["values"]
    assert len(parts) == 5 and float(sum(parts.values()) / 5) == pytest.approx(110, rel=0.01)
    assert row["one"]["spread_log"] == D("0.3")
    assert sum(row["bare"]["chances"].values()) == 1
    assert sorted(musts(among)) == ["Bare", "Graded"]
    assert row["graded"]["year"] == 1936


def test_a_weighing_gives_ways_with_work_but_not_the_fees_of_sending():
    params = {
        "grade": "4/5/6", "prices": "3: 60; 4: 80; 5: 120; 6: 180; 7: 260",
        "hour": "20", "currency": "crowns", "fee": "30", "per_item": "2",
    }  # fmt: skip
    try:
        run = run_method("options.weigh", "plan", {}, (), params)
    except ValueError as error:  # pragma: no cover
        pytest.fail(str(error))
    bench, id = filler()
    bench = kept(bench, terms.type_item, service=id, item="w", goes="yes")
    state = item("w", runs={run.id: run})
    one = candidates((state,), bench.services[id], bench, TODAY)[0]
    assert one.row is not None, one.lacks
    ways = {way["name"]: way for way in one.row["way"]}
    assert "as it is" in ways and ways["as it is"]["cost"] == 0
    from quirewell.stages.weighed_json import as_json

    for option in as_json(run)["options"]:
        if option["kind"] == "press":
            work = -sum(x["amount"] for x in option["lines"]
                        if x["name"] in ("work", "overhead on the work", "materials",
                                         "a mishap takes, on average"))  # fmt: skip
            assert float(ways[option["name"]]["cost"]) == pytest.approx(work, abs=0.01)
    read_plan(plan_text(bench.services[id], [one], TODAY)[0])


def test_mixed_money_leaves_an_item_out_in_clear_words_unless_a_rate_is_given():
    held = {"holding": Holding(value_now=D(40), currency="other")}
    for rates, left in (("", True), ("other = 2", False)):
        bench, id = begun(rates=rates)
        bench = kept(bench, terms.set_tier, service=id, name="any", fee="1")
        bench = kept(bench, terms.set_parcel, service=id, name="parcel")
        bench = kept(bench, terms.type_item, service=id, item="a", goes="yes", likely="90")
        among = candidates((item("a", holdings=held),), bench.services[id], bench, TODAY)
        read = read_plan(plan_text(bench.services[id], among, TODAY)[0])
        assert bool(read.left_out) is left
        if left:
            assert "no rate for other is given" in read.left_out[0][1]
        else:
            assert read.problem.items[0].now == 8000


def test_nothing_profitable_and_nothing_worth_is_still_an_answer():
    bench, id = begun()
    bench = kept(bench, terms.set_tier, service=id, name="any", fee="40")
    bench = kept(bench, terms.set_parcel, service=id, name="parcel")
    bench = kept(bench, terms.type_item, service=id, item="a", goes="yes", value_now="0",
                 low="0", likely="0", high="0")  # fmt: skip
    run, _ = planned(bench, id, (item("a"),))
    out = parcelling.as_json(run)
    assert out["first"]["says"].startswith("Keep everything")
    assert "worth nothing at any grade" in out["not_sent"][0]["says"]


def test_what_lacks_is_said_step_by_step():
    assert "name of your own" in view(BenchState(), ITEMS, TODAY).lacks
    bench, id = begun()
    assert "one tier first" in view(bench, ITEMS, TODAY).lacks
    bench = kept(bench, terms.set_tier, service=id, name="any", fee="40")
    assert "one parcel first" in view(bench, ITEMS, TODAY).lacks
    bench = kept(bench, terms.set_parcel, service=id, name="p", when="2026-11-01")
    assert "that has not gone yet" in view(bench, ITEMS, TODAY).lacks
    bench = kept(bench, terms.set_parcel, service=id, name="q")
    assert "no item can be planned" in view(bench, ITEMS, TODAY).lacks
    bench = kept(bench, terms.type_item, service=id, item="one", goes="yes", likely="9")
    lacks = {one.item: one.lacks for one in view(bench, ITEMS, TODAY).among}
    assert lacks["one"] == "what it is worth as it is"


def test_titles_alike_get_names_of_their_own():
    states = (item("a", "Annual"), item("b", "Annual"), item("c", "Other\n one"))
    assert names_of(states) == {
        "a": "Annual, 1936 [a]", "b": "Annual, 1936 [b]", "c": "Other one"
    }  # fmt: skip
    other = replace(item("d", "Annual"), item=Item("Annual", "1938"))
    assert names_of((states[0], other)) == {"a": "Annual, 1936", "d": "Annual, 1938"}


def test_what_was_given_back_to_its_owner_stays():
    held = replace(
        item("a", "Annual"), custodies={"custody": Custody("client-1", returned_on="2026-03-26")}
    )
    bench, id = begun()
    found = candidates((held,), bench.services[id], bench, TODAY)
    assert [(one.goes, one.why) for one in found] == [(False, "given back to its owner")]


def test_what_waiting_costs_is_shown_as_it_may_be_typed_again():
    for given, shown in (("0.4", "0.4"), ("10", "10"), ("100", "100")):
        bench, id = begun(wait_pct=given)
        assert view(bench, ITEMS, TODAY).studio["wait_pct"] == shown
        bench = kept(bench, terms.paste, service=id, text="[studio]\nwait_rate_per_week = 1")
        assert view(bench, ITEMS, TODAY).studio["wait_pct"] == "100"
