"""An item's money, exact to the cent, against cases worked by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quirewell.record.apply import apply
from quirewell.record.bench import EMPTY_BENCH
from quirewell.record.books import Rates
from quirewell.record.event import Draft, Event
from quirewell.record.finding import Finding
from quirewell.record.nouns import Item, ItemState
from quirewell.stages import item_money as money
from quirewell.stages.item_account import account_params, money_view
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.stages.time_spent import note_time, start_timer, stop_timer
from quirewell.stages.working import work_out

EMPTY = ItemState("copperbeck", 1, Item("Copperbeck Garden Annual"))
RATES = Rates("rates-1", "EUR", Decimal("18.50"), Decimal(10), Decimal("12.5"))
BENCH = replace(EMPTY_BENCH, rates={"rates-1": RATES})


def after(state: ItemState, drafts: tuple[Draft, ...]) -> ItemState:
    for draft in drafts:
        event = Event(1, state.id, state.version + 1, draft.kind, draft.body, "", "", "", "", "")
        state = apply(state, event)
    return state


def asked(**params: str) -> dict[str, Finding]:
    run = run_method("item.account", "item", {}, params=params)
    return {one.quantity.removeprefix("account."): one for one in run.findings}


def test_an_account_worked_by_hand() -> None:
    """Paid 40.00, materials 3.20 and 1.05, post 6.90; 95 min at 18.50 with a tenth on top; sold
    for 150.00 less 12.5 %.

    Work 95/60 x 18.50 = 29.2916.. -> 29.29; overhead 2.92916.. -> 2.93; fee 18.75.
    Spent 40 + 4.25 + 6.90 + 29.29 + 2.93 = 83.37; profit 150 - 18.75 - 83.37 = 47.88; before time
    77.17, an hour 77.17 / (95/60) = 48.7389.. -> 48.74.
    Least price x with x - 0.125 x >= 83.37: 95.28 gives 95.28 - 11.91 - 83.37 = 0.00, and 95.27
    gives 95.27 - 11.91 - 83.37 = -0.01.
    """
    state = EMPTY
    for kind, amount in (("bought", "40"), ("material", "3,20"), ("material", "1.05"),
                         ("post", "6.90 €")):  # fmt: skip
        state = after(state, money.note_cost(state, {"kind": kind, "amount": amount}, BENCH))
    state = after(state, note_time(state, {"doing": "paste", "minutes": "1 h 35"}))
    state = after(state, money.sell(state, {"price": "150", "fees": "12,5 %"}, BENCH))
    seen = money_view(state, BENCH)
    expected = {"spent": "83.37", "cash": "54.08", "profit": "47.88", "before_time": "77.17"}
    assert {key: seen.figures[key] for key in expected} == expected
    assert seen.figures["per_hour"] == "48.74"
    assert seen.says == "At what it sold for it leaves 47.88 EUR."
    assert "It is sold for 150 EUR" in seen.aim_says
    found = asked(
        costs="kind,amount\nbought,40\nmaterial,4.25\npost,6.90", minutes="95", hourly="18.50",
        overhead_pct="10", fee_pct="12.5",
    )  # fmt: skip
    assert found["break_even"].text == "95.28"
    assert found["hours"].value == pytest.approx(95 / 60)


def test_lines_add_up_to_the_profit() -> None:
    run = run_method(
        "item.account", "item", {},
        params={"costs": "kind,amount\nbought,12.345\nother,0.005\nother,0.01", "minutes": "7",
                "hourly": "13.33", "price": "20.00", "fee": "1.999"},
    )  # fmt: skip
    lines = sum(Decimal(one.text) for one in run.findings if one.quantity == "account.line")
    profit = next(one for one in run.findings if one.quantity == "account.profit")
    assert lines == Decimal(profit.text)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10**7), st.integers(0, 10**6), st.integers(0, 10**4), st.integers(0, 10**4),
    st.integers(0, 10**7),
)  # fmt: skip
def test_the_account_agrees_with_exact_fractions(
    bought: int, material: int, minutes: int, hourly: int, price: int
) -> None:
    """Each line rounded half to even from an exact fraction (another arithmetic), then added."""

    def cents(amount: Fraction) -> Fraction:
        return Fraction(round(amount * 100), 100)

    found = asked(
        costs=f"kind,amount\nbought,{bought / 100:.2f}\nmaterial,{material / 100:.2f}",
        minutes=str(minutes), hourly=f"{hourly / 100:.2f}", price=f"{price / 100:.2f}",
        fee_pct="7.5",
    )  # fmt: skip
    expected = (
        Fraction(price, 100) - cents(Fraction(price, 100) * Fraction(75, 1000))
        - Fraction(bought, 100) - Fraction(material, 100)
        - cents(Fraction(minutes, 60) * Fraction(hourly, 100))
    )  # fmt: skip
    assert Fraction(found["profit"].text) == expected


def test_nothing_known_says_what_comes_first() -> None:
    seen = money_view(EMPTY, EMPTY_BENCH)
    assert "what was paid for it comes first" in seen.says
    assert not seen.lines


def test_an_item_worth_nothing_is_a_loss_in_words() -> None:
    state = after(EMPTY, money.note_cost(EMPTY, {"kind": "bought", "amount": "5"}, BENCH))
    state = after(state, money.sell(state, {"price": "0"}, BENCH))
    assert money_view(state, BENCH).says == (
        "At what it sold for it loses 5.00 EUR. The fees of the sale are not noted."
    )


def test_another_currency_is_refused_and_never_added_up() -> None:
    state = after(EMPTY, money.note_cost(EMPTY, {"kind": "bought", "amount": "5 €"}, EMPTY_BENCH))
    with pytest.raises(Refusal, match="GBP"):
        money.note_cost(state, {"kind": "post", "amount": "5 £"}, EMPTY_BENCH)
    (cost,) = state.costs.values()
    both = replace(state, costs={cost.id: cost, "cost-9": replace(cost, id="cost-9",
                                                                  currency="GBP")})  # fmt: skip
    seen = money_view(both, EMPTY_BENCH)
    assert "EUR and GBP" in seen.says
    assert not seen.lines


@pytest.mark.parametrize("amount", ["", "abc", "-5", "1,250", "1e9", "9" * 30, "=1+1"])
def test_amounts_that_cannot_be_are_refused_at_their_box(amount: str) -> None:
    with pytest.raises(Refusal) as caught:
        money.note_cost(EMPTY, {"kind": "bought", "amount": amount}, BENCH)
    assert caught.value.problems[0].field == "amount"


def test_the_timer_counts_in_the_account() -> None:
    begun = {"doing": "surface-clean", "wraps": "3", "at": "2026-03-01T09:00:00Z"}
    state = after(EMPTY, start_timer(EMPTY, begun))
    assert "minutes" not in account_params(state, BENCH)
    state = after(state, stop_timer(state, {"at": "2026-03-01T10:35:00Z"}))
    assert account_params(state, BENCH)["minutes"] == "95"
    assert next(iter(state.times.values())).wraps == 3
    assert money_view(state, BENCH).figures["spent"] == "32.22"  # 29.29 and a tenth on top


def test_a_price_asked_stands_in_for_a_sale() -> None:
    state = after(EMPTY, money.note_cost(EMPTY, {"kind": "bought", "amount": "10"}, BENCH))
    state = after(state, money.hold(state, {"aim": "sell", "asked": "40"}, BENCH))
    assert money_view(state, BENCH).says == "At the price asked it leaves 25.00 EUR."
    assert money_view(state, BENCH).aim_says == "It is to sell, asked 40 EUR."


def test_a_likely_price_carries_its_band_into_the_profit() -> None:
    """Typed 40, 60, 100: mean (40 + 240 + 100) / 6 = 63.33; less 12.5 % and 10 paid: 45.41."""
    form = {"grade": "4", "low": "40", "likely": "60", "high": "100", "currency": "EUR"}
    state = after(EMPTY, money.note_cost(EMPTY, {"kind": "bought", "amount": "10"}, BENCH))
    state = after(state, work_out(state, "price", form, {}, ()))
    seen = money_view(state, BENCH)
    assert seen.figures["profit"] == "45.41"
    low, high = (float(seen.figures[f"profit_{end}"]) for end in ("low", "high"))
    assert 25 < low < 45.41 < high < 77.5
    assert seen.says == (
        f"At the mean of what it would bring it leaves about 45 EUR ({low:.0f} to {high:.0f} for "
        "nine sales of ten)."
    )


def test_what_was_noted_can_be_set_aside() -> None:
    state = after(EMPTY, money.note_cost(EMPTY, {"kind": "bought", "amount": "10"}, BENCH))
    (key,) = state.costs
    assert not after(state, money.set_aside(state, {"id": key})).costs
    with pytest.raises(Refusal):
        money.set_aside(state, {"id": "item"})


def test_a_mishap_is_told_in_words_and_place() -> None:
    with pytest.raises(Refusal, match="what went wrong"):
        money.note_mishap(EMPTY, {"what": " "})
    state = after(EMPTY, money.note_mishap(EMPTY, {"what": "a tear of 4 mm while lifting"}))
    assert next(iter(state.mishaps.values())).place == "item"
