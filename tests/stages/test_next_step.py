"""The one thing to do next with an item, through the whole job and at its odd ends."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.books import Parcel, Sent
from quirewell.record.dealing import Choice, Custody, Sold
from quirewell.record.finding import Input, Run
from quirewell.record.nouns import Capture, Defect, Gathering, Item, ItemState, Report, Step
from quirewell.record.rejoining import Joined
from quirewell.stages.next_step import next_step

BARE = ItemState("annual", 1, Item("Copperbeck Garden Annual"))


def capture(id: str, place: str = "w01.outer", moment: str = "before") -> Capture:
    return Capture(
        id, f"hash-{id}", f"{id}.tif", "image/tiff", 100, 100, 1, place=place, panel="left",
        moment=moment,  # type: ignore[arg-type]
    )  # fmt: skip


def with_pictures(*pictures: Capture) -> ItemState:
    return replace(BARE, gathering=Gathering(1), captures={one.id: one for one in pictures})


def measured(state: ItemState) -> ItemState:
    """Every scan measured as it came."""
    runs = {
        f"run-{one.id}": Run(f"run-{one.id}", "leaf.measure", 1, "exact", one.place,
                             (Input("image", one.id, one.sha256),))
        for one in state.captures.values()
    }  # fmt: skip
    return replace(state, runs=runs)


def with_steps(state: ItemState, *steps: Step) -> ItemState:
    return replace(state, steps={step.id: step for step in steps})


def where(state: ItemState) -> str:
    found = next_step(state)
    return "" if found is None else found.where


SEEN = replace(
    measured(with_pictures(capture("one"))),
    defects={"d1": Defect("d1", "w01.outer", "tear")},
)  # fmt: skip
DECIDED = replace(SEEN, choices={"choice": Choice("Full treatment")})
STAPLES = Step("s1", "staples-out", ("item",), "done")


def test_an_item_is_seen_before_it_is_decided_on() -> None:
    assert where(BARE) == "/intake"
    assert where(replace(BARE, captures={"one": capture("one", "")})) == "#make"
    loose = with_pictures(capture("one", ""), capture("two", ""))
    assert where(loose) == "/intake/sheet"
    assert "2 pictures are not in place" in next_step(loose).says  # type: ignore[union-attr]
    scanned = with_pictures(capture("one"))
    assert where(scanned) == "/examine"
    assert "1 scan is not measured" in next_step(scanned).says  # type: ignore[union-attr]
    assert "Look over every sheet" in next_step(measured(scanned)).says  # type: ignore[union-attr]
    assert where(SEEN) == "/decide" and where(DECIDED) == "/treat"


def test_what_is_planned_or_under_way_leads_to_the_bench_with_its_item() -> None:
    state = with_steps(DECIDED, STAPLES, Step("s2", "wash", ("w01",), "planned"))
    found = next_step(state)
    assert found is not None and found.of_studio and found.where == "/today?item=annual"
    assert found.says == "1 step is planned." and found.stage == "treat"


def test_what_was_taken_apart_is_laid_together_before_it_is_scanned_again() -> None:
    apart = with_steps(DECIDED, STAPLES)
    assert where(apart) == "/rejoin"
    laid = replace(apart, joined={sheet: Joined(sheet) for sheet in ("c", "w01")})
    assert where(laid) == "/intake" and "dry through" in next_step(laid).says  # type: ignore[union-attr]
    again = {**laid.captures, "after": capture("after", moment="after")}
    pair = measured(replace(laid, captures=again))
    assert where(pair) == "/prove"
    compare = Run("c1", "pair.compare", 1, "exact", "w01.outer.left", ())
    compared = replace(pair, runs={**pair.runs, "c1": compare})
    assert where(compared) == "/prove#report"
    told = replace(compared, reports={"r1": Report("r1", "hash", "head", ())})
    assert where(told) == "/send"


def test_nothing_is_suggested_for_what_has_left_the_house() -> None:
    assert next_step(replace(BARE, sold={"sold": Sold(Decimal(40))})) is None
    back = Custody("client-1", returned_on="2026-11-02")
    assert next_step(replace(BARE, custodies={"custody": back})) is None
    held = Custody("client-1", received_on="2026-10-02")
    assert where(replace(BARE, custodies={"custody": held})) == "/intake"


def test_an_item_in_a_parcel_waits_and_a_treated_one_is_not_photographed_as_it_came() -> None:
    parcel = Parcel("parcel-1", "parcel 1", (Sent("annual"),))
    assert next_step(BARE, BenchState(parcels={"parcel-1": parcel})) is None
    other = replace(parcel, entries=(Sent("another"),))
    assert next_step(BARE, BenchState(parcels={"parcel-1": other})) == next_step(BARE)
    treated = with_steps(BARE, Step("s1", "surface-clean", ("w01",), "done"))
    assert where(treated) == "/prove#report"
