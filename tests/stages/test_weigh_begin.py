"""What a weighing begins with, and what must be told as it ages."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.books import Disclosures, Rates, Sale, Service
from quirewell.record.dealing import Custody, Holding, Options
from quirewell.record.nouns import Defect, Item, ItemState
from quirewell.stages.disclosure import age_words, must_tell, policy
from quirewell.stages.methods import run_method
from quirewell.stages.options_table import options, write_options
from quirewell.stages.plain_table import TableError
from quirewell.stages.step_table import STEP_KINDS
from quirewell.stages.weigh_begin import hours_row, life_of, weigh_begins


def state(**parts: object) -> ItemState:
    return ItemState("annual", 1, Item("Copperbeck Garden Annual"), **parts)  # type: ignore[arg-type]


def test_it_begins_with_damage_noted_and_what_was_typed_of_its_worth() -> None:
    held = state(
        defects={"d": Defect("d", "c", "tear", "40 mm")},
        holdings={"holding": Holding("sell", value_now=Decimal(120), value_u=Decimal(30))},
        own_options={"options": Options("option\nMine", "permanence")},
    )
    begun = weigh_begins(held, EMPTY_BENCH)
    assert "tear,c,40 mm" in begun["defects"]
    assert (begun["value_now"], begun["value_u"]) == ("120", "30")
    assert (begun["options"], begun["aim"]) == ("option\nMine", "permanence")


def test_own_sales_of_the_title_go_before_a_typed_worth() -> None:
    sale = Sale(
        "s", "copperbeck garden annual", Decimal(90), "crowns", Decimal("4.5"), "2025-01-01"
    )
    bench = BenchState(
        sales={"s": sale}, rates={"r": Rates("r", "crowns", Decimal(25), sale_fee_pct=Decimal(12))},
        disclosures={"t": Disclosures("t", "step,buyer\nmend,Mended.")},
    )  # fmt: skip
    held = state(holdings={"holding": Holding("sell", value_now=Decimal(120))})
    begun = weigh_begins(held, bench)
    assert "value_now" not in begun
    assert "90" in begun["sales"] and begun["item"] == "Copperbeck Garden Annual"
    assert (begun["hour"], begun["sale_fee_pct"], begun["currency"]) == ("25", "12", "crowns")
    assert begun["disclosures"] == "step,buyer\nmend,Mended."


def test_the_ratio_of_lives_is_that_of_ph_alone() -> None:
    stores = {"store_before": "21 C, 55 %", "store_after": "17 C, 45 %"}
    only = run_method("outlook.ratio", "item", {}, (), stores)
    assert life_of(state(runs={only.id: only})) == ""  # a better store needs no treatment
    ph = {"ph_before": "5.1", "ph_after": "8"}
    alone = run_method("outlook.ratio", "item", {}, (), ph)
    both = run_method("outlook.ratio", "item", {}, (), {**ph, **stores})
    first, second = (life_of(state(runs={one.id: one})).split(", ") for one in (alone, both))
    assert len(first) == 3
    assert [float(one) for one in second] == pytest.approx([float(one) for one in first], rel=0.05)


def test_hours_of_the_bench_stand_in_for_shipped_ones() -> None:
    assert hours_row(None, 14) == ""
    [full] = [one for one in options(hours_row((0.8, 0.5, 1.4, 6), 10)) if one.kind == "full"]
    assert (full.hours.low, full.hours.likely, full.hours.high) == (5, 8, 14)
    assert full.materials == 20  # the rest stays as shipped
    assert "6 items" in full.note


def test_options_come_back_from_their_own_table() -> None:
    own = 'option,steps,hours,chances,sent\n"Mend, then press",mend press,1/2/4,3:0.25 4:0.75,no'
    rows = options(own, True)
    again = options(write_options(rows), True)
    assert [
        (one.name, one.steps, one.hours, one.chances, one.sent, one.factor) for one in again
    ] == [(one.name, one.steps, one.hours, one.chances, one.sent, one.factor) for one in rows]


def test_every_step_that_treats_has_its_words_and_own_rows_stand_in() -> None:
    table = policy()
    assert set(STEP_KINDS) - set(table) == {"dry", "handle", "house"}, "these treat nothing"
    assert must_tell(("mend", "dry", "soaked"), table, "buyer")[-1] == "soaked."
    mine = policy('step,buyer\nmend,"Mended by us, with tissue."')
    assert must_tell(("mend",), mine, "service") == ("Mended by us, with tissue.",)
    with pytest.raises(TableError, match="names no step"):
        policy("step,buyer\n,x")


@pytest.mark.parametrize(("checked", "says"), [
    ("", "held against no service"), ("2026-06-01", "today"), ("2026-05-31", "1 day ago"),
    ("2025-01-01", "more than a year"), ("2027-01-01", "still to come"),
])  # fmt: skip
def test_the_age_of_what_must_be_told(checked: str, says: str) -> None:
    said = age_words(checked, date(2026, 6, 1))
    assert says in said
    assert said.endswith("Check the service's current rules before sending.")


TERMS = """
[studio]
currency = "crowns"
wait_rate_per_week = 0.004
[[tier]]
name = "old"
fee = 18
ceiling = 150
to_year = 1935
weeks = 20
[[tier]]
name = "plain"
fee = 34
ceiling = 400
[[tier]]
name = "swift"
fee = 75
[[shipment]]
name = "first"
per_item = 1.5
insurance_pct = 0.6
"""


@pytest.mark.parametrize(
    ("year", "fee", "ceiling", "next_fee"),
    [("1931", "18", "150", "34"), ("1936", "34", "400", "75"), ("", "18", "150", "34")],
)
def test_sending_costs_what_the_cheapest_tier_for_its_year_does(
    year: str, fee: str, ceiling: str, next_fee: str
) -> None:
    bench = BenchState(services={"s": Service("s", "the service", TERMS)})
    held = ItemState(
        "a", 1, Item("Annual", year), holdings={"holding": Holding("sell", value_now=Decimal(46))}
    )
    begun = weigh_begins(held, bench)
    assert (begun["fee"], begun["ceiling"], begun["next_fee"]) == (fee, ceiling, next_fee)
    assert (begun["per_item"], begun["insurance_pct"]) == ("1.5", "0.6")
    assert (begun["wait_pct_per_week"], begun["value_now"]) == ("0.4", "46")
    assert begun.get("weeks") == ("20" if fee == "18" else None)


def test_a_clients_item_is_not_weighed_for_sending() -> None:
    bench = BenchState(services={"s": Service("s", "the service", TERMS)})
    assert "fee" not in weigh_begins(state(custodies={"custody": Custody("client-1")}), bench)
