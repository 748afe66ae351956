"""Parcels made, sent and back; the send stage of an item; sheets to print."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal as D

import pytest

from parcel_studio import ITEMS, TODAY, filler, item, kept, planned
from quirewell.record.apply import noun_of
from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Plan, Sent
from quirewell.record.nouns import Step
from quirewell.report.parcel_sheet import csv_text, plain_cell, sheet_pdf
from quirewell.stages import parcel_keeping as keeping
from quirewell.stages import parcel_service as terms
from quirewell.stages import parcels_view, sending
from quirewell.stages.methods import run_method
from quirewell.stages.parcel_lists import sheet_of
from quirewell.stages.refusal import Refusal


def made(bench: BenchState, command, **form: str) -> BenchState:
    """The bench after a command that keeps a plan or a parcel."""
    for draft in command(bench, form):
        noun = noun_of(draft.kind, draft.body)
        into = "plans" if isinstance(noun, Plan) else "parcels"
        held = getattr(bench, into)
        bench = replace(bench, version=bench.version + 1, **{into: {**held, noun.id: noun}})
    return bench


def with_plan() -> BenchState:
    bench, id = filler()
    bench = kept(bench, terms.set_tier, service=id, was="three or more", name="three or more",
                 fee="25", minimum="3", weeks="10")  # fmt: skip
    run, items = planned(bench, id)
    return made(bench, lambda b, form: keeping.keep_plan(b, run, id, items, TODAY))


def making(bench: BenchState, form: dict[str, str], states=ITEMS):
    return keeping.make_parcel(bench, form, states)


def changing(bench: BenchState, form: dict[str, str]):
    return keeping.change_parcel(bench, {"id": next(iter(bench.parcels)), **form}, TODAY)


def with_parcel() -> BenchState:
    bench = with_plan()
    return made(bench, making, plan=next(iter(bench.plans)), parcel="parcel")


def test_a_parcel_is_made_as_the_plan_says_and_carries_what_each_left_with():
    run = run_method("condition.grade", "plan", {}, (), {"defects": "code\nnone\n"})
    states = (item("annual", runs={run.id: run}), *ITEMS[1:])
    bench = with_plan()
    plan = next(iter(bench.plans))
    bench = made(bench, lambda b, f: making(b, f, states), plan=plan, parcel="parcel")
    parcel = next(iter(bench.parcels.values()))
    by_item = {one.item: one for one in parcel.entries}
    assert set(by_item) == {"annual", "one", "two"}
    assert by_item["annual"] == Sent("annual", "three or more", D("160.00"), run.id)
    assert by_item["one"].run == ""
    assert parcel.insured == D("437.00") and parcel.currency == "crowns"
    with pytest.raises(Refusal, match="is already in parcel"):
        making(bench, {"plan": plan, "parcel": "parcel"})
    with pytest.raises(Refusal, match="no such parcel"):
        making(bench, {"plan": plan, "parcel": "other"})


def test_a_plan_stands_while_its_parcels_are_made_as_it_says():
    bench = with_parcel()
    plan = next(iter(bench.plans.values()))
    assert parcels_view._stale(bench, plan, ITEMS, TODAY) == ""
    bench = made(bench, changing, out="annual")
    assert "has changed" in parcels_view._stale(bench, plan, ITEMS, TODAY)


def test_an_item_cannot_be_in_two_open_parcels_and_may_be_sent_again_when_back():
    bench = with_parcel()
    with pytest.raises(Refusal, match="Annual is already in parcel, which is not back"):
        making(bench, {"name": "second", "items": "annual"})
    bench = made(bench, changing, state="back", sent_on="2026-09-01", back_on="2026-11-01")
    bench = made(bench, making, name="second", items="annual one annual")
    assert [one.item for one in list(bench.parcels.values())[-1].entries] == ["annual", "one"]
    # The name of a parcel made before is not given twice.
    again = next(iter(bench.parcels.values()))
    bench = replace(bench, parcels={again.id: replace(again, entries=())})
    bench = made(bench, making, plan=next(iter(bench.plans)), parcel="parcel")
    assert [one.name for one in bench.parcels.values()] == ["parcel", "parcel (2)"]
    assert keeping.planned_name(bench.parcels[list(bench.parcels)[1]]) == "parcel"
    for form, says in (
        ({"name": " ", "items": "two"}, "a name"), ({"name": "x", "items": ""}, "at least one"),
        ({"name": "x", "items": "gone"}, "no item 'gone'"),
    ):  # fmt: skip
        with pytest.raises(Refusal, match=says):
            making(bench, form)


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"state": "back", "sent_on": "2026-10-01", "back_on": "2026-09-01"}, "cannot be back"),
        ({"state": "lost"}, "A parcel is packing"),
        ({"state": "arrived", "sent_on": "soon"}, "is a day as"),
        ({"state": "arrived", "back_on": "2026-10-01"}, "say that it is back"),
        ({"state": "packing", "insured": "-3"}, "lies between 0"),
        ({"state": "packing", "cost": "much"}, "not a number"),
        ({"id": "parcel-999"}, "no such parcel"),
    ],
)  # fmt: skip
def test_what_cannot_be_of_a_parcel_is_a_sentence(form, says):
    with pytest.raises(Refusal, match=says):
        changing(with_parcel(), form)


def test_days_late_are_counted_against_the_slowest_tier_in_it():
    """Ten weeks from 1 September are 70 days, 10 November (counted by hand)."""
    bench = with_parcel()
    parcel = next(iter(bench.parcels))

    def says(today: str = TODAY, **form: str) -> str:
        now = made(bench, changing, **form)
        return keeping.late_words(now, now.parcels[parcel], today)

    assert says(state="packing") == "not sent yet"
    sent = {"state": "on its way", "sent_on": "2026-09-01"}
    assert says(**sent) == "was due back on 2026-11-10: 18 days late"
    assert says("2026-11-09", **sent) == "due back about 2026-11-10, in 1 day"
    assert says("2026-11-10", **sent) == "due back today"
    back = {"state": "back", "sent_on": "2026-09-01", "back_on": "2026-11-12"}
    assert says(**back) == "back on 2026-11-12, 2 days later than its tiers said"
    assert says(**{**back, "back_on": "2026-11-10"}).endswith("on the day its tiers said")
    assert says(**{**back, "back_on": "2026-11-03"}).endswith("7 days before its tiers said")
    assert "today" not in says(state="on its way")
    assert made(bench, changing, state="on its way").parcels[parcel].sent_on == TODAY
    assert "is not known" in says(state="back")


def test_an_item_is_taken_out_only_before_the_parcel_leaves():
    bench = made(with_parcel(), changing, out="two")
    assert [one.item for one in next(iter(bench.parcels.values())).entries] == ["annual", "one"]
    bench = made(bench, changing, state="on its way")
    with pytest.raises(Refusal, match="has been sent"):
        changing(bench, {"out": "one"})


def test_the_sheets_say_every_item_and_no_cell_is_a_formula():
    bench, states = with_parcel(), (item("annual", '=HYPERLINK("x")'), *ITEMS[1:])
    service = next(iter(bench.services))
    bench = kept(bench, terms.type_item, service=service, item="one", weight_g="210.5")
    parcel = next(iter(bench.parcels.values()))
    packing = sheet_of("packing", bench, parcel, states, TODAY)
    rows = list(csv.reader(io.StringIO(csv_text(packing["columns"], packing["rows"]))))
    assert rows[0] == ["in", "item", "year", "tier", "weight, g", "declared"]
    assert sorted(row[1] for row in rows[1:]) == ['\'=HYPERLINK("x")', "One", "Two"]
    assert packing["total"] == "3 items; 210.5 g of the 1 weighed, packing not counted"
    declared = sheet_of("declared", bench, parcel, states, TODAY)
    # 160 + 160 + 117, by hand.
    assert declared["total"] == "437.00 crowns for 3 items"
    assert not any(row[0][:1] == "+" for row in declared["rows"])
    for sheet in (packing, declared):
        assert sheet_pdf(sheet, datetime(2026, 11, 28, tzinfo=UTC))[:5] == b"%PDF-"


@pytest.mark.parametrize("text", ["=1", "+1+1", "-1-1", "@x", "\tx", "\rx"])
def test_a_cell_that_begins_as_a_formula_is_guarded(text: str):
    assert plain_cell(text).startswith("'") and plain_cell(text).endswith(text[1:])
    assert plain_cell("-1.50") == "-1.50"


def test_the_send_page_says_why_what_to_tell_and_what_came_back():
    bench = with_plan()
    step = Step("s1", "lime-bath", ("w01",), state="done")
    state = item("two", steps={"s1": step})
    seen = sending.view(state, bench, TODAY)
    assert "fills" in seen.places[0]["why"] or "goes" in seen.places[0]["why"]
    assert "parcel, now; tier three or more" in seen.places[0]["where"]
    assert seen.tell_service == ("Paper was deacidified: which sheets and with what.",)
    assert any("no tape" in line for line in seen.packing)
    assert sending.progress_words(state, bench) == "planned: parcel"
    bench = made(bench, making, plan=next(iter(bench.plans)), parcel="parcel")
    assert sending.progress_words(state, bench) == "parcel, packing"
    assert sending.progress_words(item("two"), None) == "not planned yet"


def returned(state, bench, **form: str):
    (draft,) = sending.returned(bench)(state, form)
    return noun_of(draft.kind, draft.body)


def test_a_returned_grade_keeps_its_parcel_and_the_estimate_it_left_with():
    run = run_method("condition.grade", "plan", {}, (), {"defects": "code\nnone\n"})
    parcel = Parcel("parcel-1", "spring", (Sent("annual", run=run.id),), sent_on="2026-09-01")
    bench = BenchState(parcels={"parcel-1": parcel})
    noun = returned(item("annual"), bench, grade="6,5", on="2026-11-01", parcel="parcel-1")
    assert (noun.grade, noun.parcel, noun.run) == (D("6.5"), "parcel-1", run.id)
    assert returned(item("annual"), bench, words="fine").words == "fine"
    state = item("annual", returned={noun.id: noun})
    assert sending.progress_words(state, replace(bench, parcels={})) == (
        "came back: 6.5, on 2026-11-01"
    )


@pytest.mark.parametrize(
    ("form", "says"),
    [
        ({"grade": "11"}, "up to 10, got 11"),
        ({"grade": "0"}, "above 0"),
        ({}, "as a number, in words or both"),
        ({"grade": "six"}, "not a number"),
        ({"grade": "6", "on": "yesterday"}, "is a day as"),
        ({"grade": "6", "on": "2026-08-31", "parcel": "parcel-1"}, "was sent on 2026-09-01"),
        ({"grade": "6", "parcel": "parcel-9"}, "set aside"),
    ],
)  # fmt: skip
def test_an_ugly_return_is_refused_in_a_sentence(form, says):
    parcel = Parcel("parcel-1", "spring", (Sent("annual"),), sent_on="2026-09-01")
    with pytest.raises(Refusal, match=says):
        returned(item("annual"), BenchState(parcels={"parcel-1": parcel}), **form)


def test_a_sale_needs_a_price_and_may_lack_a_day():
    state = item("annual")
    draft = sending.sold(state, {"price": "120", "currency": "crowns"})[0]
    assert draft.kind == "item.sold" and noun_of(draft.kind, draft.body).on == ""
    for form, says in (
        ({}, "price before fees"), ({"price": "-1"}, "lies between"),
        ({"price": "3", "on": "x"}, "is a day as"), ({"price": "3", "fees": "-2"}, "Fees"),
    ):  # fmt: skip
        with pytest.raises(Refusal, match=says):
            sending.sold(state, form)
    with pytest.raises(Refusal, match="already set aside"):
        sending.aside(state, {"id": "sold"})
