"""Offers: what is kept of them, what the books add, and what becomes of them when bought."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.record.apply_bench import apply_bench
from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.books import Offer, Rates, Sale, Want
from quirewell.record.codec import to_body
from quirewell.record.event import Draft, Event
from quirewell.stages import buying
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO

TITLE = "Copperbeck Garden Annual"


def after(bench: BenchState, *drafts: Draft) -> BenchState:
    for draft in drafts:
        number = bench.version + 1
        event = Event(
            seq=number, stream=STUDIO, version=number, at="2026-03-01T10:00:00.000Z",
            zone="UTC", actor="bench", kind=draft.kind, body=draft.body, prev="", hash="",
        )  # fmt: skip
        bench = apply_bench(bench, event)
    return bench


def looked_at(bench: BenchState = EMPTY_BENCH, **form: str) -> tuple[BenchState, Offer]:
    key, drafts = buying.look_at(bench, {"title": TITLE, **form})
    bench = after(bench, *drafts)
    return bench, bench.offers[key]


def noted(bench: BenchState, offer: Offer, **form: str) -> tuple[BenchState, Offer]:
    drafts = buying.note(bench, offer, {"title": offer.title, **form})
    bench = after(bench, *drafts)
    return bench, bench.offers[offer.id]


def test_a_title_is_enough_and_an_empty_one_is_not() -> None:
    _, offer = looked_at()
    assert offer.state == "looking" and offer.run is None
    with pytest.raises(Refusal, match="working title"):
        buying.look_at(EMPTY_BENCH, {"title": "  "})


def test_a_price_may_carry_its_currency_and_must_not_carry_two() -> None:
    _, offer = looked_at(asking="48,50 EUR", post="6")
    assert (offer.asking, offer.post, offer.currency) == (Decimal("48.50"), Decimal(6), "EUR")
    with pytest.raises(Refusal, match="in GBP"):
        looked_at(asking="48 EUR", post="6 GBP")
    with pytest.raises(Refusal):
        looked_at(asking="-3")


def test_without_a_value_it_is_kept_and_says_what_lacks() -> None:
    bench, offer = looked_at()
    bench, offer = noted(bench, offer, note="bright staples", **{"answer.page_count": "asked"})
    assert offer.run is None and offer.answers == {"page_count": "asked"}
    seen = buying.offer_view(bench, offer)
    assert "one likely sum" in seen.lacks
    assert "How many pages" in seen.letter


def test_one_sum_gives_a_bid_that_its_own_parameters_give_again() -> None:
    bench, offer = looked_at(asking="30")
    bench, offer = noted(bench, offer, asking="30", likely="70", hours="1", hourly="10")
    assert offer.run is not None
    again = run_method(offer.run.method, "item", {}, (), offer.run.params)
    assert again.findings == offer.run.findings
    seen = buying.offer_view(bench, offer)
    assert seen.bid is not None and seen.bid["highest"]["value"] > 0
    assert "highest bid" in buying.offers_view(bench)[0].says


def test_the_books_bring_rate_fee_and_own_sales_into_the_run() -> None:
    bench = after(
        EMPTY_BENCH,
        Draft(STUDIO, "rates.set", to_body(Rates("r", "crowns", Decimal(15), None, Decimal(12)))),
        *(
            Draft(STUDIO, "sale.recorded", to_body(
                Sale(f"s{k}", TITLE, Decimal(40 + 10 * k), "crowns", Decimal(2 + k))))
            for k in range(6)
        ),
    )  # fmt: skip
    bench, offer = looked_at(bench)
    view = buying.offer_view(bench, offer)
    assert view.values["hourly"] == "15"
    assert view.values["fee_pct"] == "12" and "6 sales" in view.books_say
    bench, offer = noted(bench, offer, grade="4", fee_pct="12")
    assert offer.run is not None and "Copperbeck" in offer.run.params["sales"]
    seen = buying.offer_view(bench, offer)
    assert seen.bid is not None and "6 own sales" in seen.bid["model"]
    assert seen.bid["currency"] == "crowns"


def test_a_title_on_the_list_of_wants_is_told() -> None:
    want = Want("w1", TITLE.lower(), grade_from=Decimal(5), most=Decimal(60), currency="crowns")
    bench = after(EMPTY_BENCH, Draft(STUDIO, "want.noted", to_body(want)))
    bench, offer = looked_at(bench)
    says = buying.offer_view(bench, offer).books_say
    assert "on the list of wants from grade 5 up, up to 60 crowns" in says


def test_another_currency_than_the_books_asks_for_a_rate() -> None:
    bench = after(EMPTY_BENCH, Draft(STUDIO, "rates.set", to_body(Rates("r", "crowns"))))
    bench, offer = looked_at(bench, asking="20", currency="marks")
    with pytest.raises(Refusal) as caught:
        noted(bench, offer, asking="20", currency="marks", likely="50")
    assert caught.value.problems[0].field == "exchange"
    _, offer = noted(bench, offer, asking="20", currency="marks", likely="50", exchange="0.5")
    assert offer.run is not None


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"likely": "much"}, "likely"),
        ({"likely": "50", "fee_pct": "120"}, "fee_pct"),
        ({"likely": "50", "hours": "-1"}, "hours"),
        ({"grade": "6"}, "likely"),
        ({"likely": "50", "signs": "nonsense"}, "signs"),
        ({"likely": "50", "disclosed": "2 3"}, "disclosed"),
        ({"likely": "50", "day": "yesterday"}, "day"),
        ({"low": "9", "high": "3"}, "low"),
        ({"likely": "50", "grade": "11"}, "grade"),
        ({"likely": "50 EUR", "hourly": "5 GBP"}, "hourly"),
    ],
)
def test_a_refusal_stands_at_its_box_and_loses_nothing(form: dict[str, str], field: str) -> None:
    bench, offer = looked_at()
    with pytest.raises(Refusal) as caught:
        noted(bench, offer, **form)
    assert caught.value.problems[0].field == field
    assert caught.value.values.items() >= form.items()


def test_money_may_be_typed_with_its_sign_and_a_refusal_names_the_label() -> None:
    bench, offer = looked_at()
    _, held = noted(bench, offer, likely="1,234.50 EUR", hourly="€ 12", hours="1")
    assert held.params["likely"] == "1234.50" and held.currency == "EUR"
    with pytest.raises(Refusal, match="Premium on a bid is per cent"):
        noted(bench, offer, likely="5", premium_pct="-1")


def test_an_answer_that_is_none_is_left_out() -> None:
    bench, offer = looked_at()
    _, offer = noted(bench, offer, **{"answer.page_count": "perhaps", "answer.horns": "seen"})
    assert offer.answers == {}


def test_bought_opens_an_item_with_its_cost_and_remarks() -> None:
    bench, offer = looked_at(asking="30", post="4", seller="a stall")
    bench, offer = noted(
        bench, offer, asking="30", post="4", seller="a stall", note="smells of cellar",
        likely="70", currency="crowns", **{"answer.staples_other": "seen"},
    )  # fmt: skip
    drafts, kept = buying.bought(bench, offer, "annual", {"paid": "28", "paid_day": "2026-03-02"})
    assert [one.kind for one in drafts] == ["item.opened", "cost.noted", "cost.noted"]
    costs = [one.body for one in drafts[1:]]
    assert [(one["kind"], one["amount"], one["currency"]) for one in costs] == [
        ("bought", "28", "crowns"), ("post", "4", "crowns"),
    ]  # fmt: skip
    notes = drafts[0].body["notes"]
    assert "from a stall" in notes and "smells of cellar" in notes
    assert "Staples not its own: seen" in notes
    bench = after(bench, kept)
    held = bench.offers[offer.id]
    assert (held.state, held.item) == ("bought", "annual")
    with pytest.raises(Refusal, match="already"):
        buying.bought(bench, held, "annual-2", {"paid": "28"})
    with pytest.raises(Refusal, match="already"):
        buying.move(held, {"state": "let go"})


def test_bought_without_any_price_asks_for_it_and_a_gift_is_0() -> None:
    bench, offer = looked_at()
    with pytest.raises(Refusal, match="what was paid"):
        buying.bought(bench, offer, "annual", {})
    drafts, _ = buying.bought(bench, offer, "annual", {"paid": "0"})
    assert drafts[1].body["amount"] == "0"


def test_states_pictures_and_setting_aside() -> None:
    bench, offer = looked_at()
    bench = after(bench, *buying.move(offer, {"state": "let go"}))
    assert bench.offers[offer.id].state == "let go"
    with pytest.raises(Refusal):
        buying.move(offer, {"state": "stolen"})
    many = tuple(f"{k:064x}" for k in range(20))
    bench = after(bench, *buying.add_pictures(bench.offers[offer.id], many))
    held = bench.offers[offer.id]
    assert len(held.pictures) == buying.MOST_PICTURES
    bench = after(bench, *buying.leave_picture(held, {"sha256": many[0]}))
    assert many[0] not in bench.offers[offer.id].pictures
    with pytest.raises(Refusal):
        buying.leave_picture(held, {"sha256": "nowhere"})
    bench = after(bench, *buying.set_aside(bench, {"id": offer.id}))
    assert not bench.offers
    with pytest.raises(Refusal):
        buying.set_aside(bench, {"id": offer.id})
