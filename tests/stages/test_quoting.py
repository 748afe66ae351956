"""Quotes, invoices and limits: lines as typed, sums to the hundredth, limits reached exactly."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from quirewell.record.apply import noun_of
from quirewell.record.bench import BenchState
from quirewell.record.books import Client, Rates
from quirewell.record.dealing import Cost, Invoice, Line, Quote, TimeSpent
from quirewell.record.nouns import Item, ItemState
from quirewell.stages import clients, custody, quoting
from quirewell.stages.amounts import money
from quirewell.stages.owner_view import against, owner_view
from quirewell.stages.refusal import Refusal

ITEM = ItemState("annual", 4, Item("Copperbeck Garden Annual", owner="the Larkmoor reading room"))
BENCH = BenchState(
    version=3,
    rates={"rates-1": Rates("rates-1", "GBP", Decimal("38.00"))},
    clients={"client-2": Client("client-2", "Ada Fennimore", "4 Quern Lane")},
)
FORM = {"what-0": "Washing and mending", "hours-0": "6,25", "what-1": "Tissue", "amount-1": "4,15",
        "what-3": "Post", "amount-3": "9.80", "most": "300", "day": "2026-03-14"}  # fmt: skip


def made(draft: Any) -> Any:
    return noun_of(draft.kind, draft.body)


def spent(hours: str) -> TimeSpent:
    return TimeSpent("time-1", "mending", minutes=Decimal(hours) * 60)


def quoted(most: str | None = "300", *costs: Cost, hours: str = "1") -> ItemState:
    """An item with a quote of 8 h at 25.00 and 20.00 of material (220.00), and what was done."""
    lines = (Line("Work", Decimal(200), Decimal(8)), Line("Tissue", Decimal(20)))
    quote = Quote("quote-5", lines, "GBP", most=Decimal(most) if most else None)
    return replace(
        ITEM, quotes={"quote-5": quote}, costs={one.id: one for one in costs},
        times={"time-1": spent(hours)},
    )  # fmt: skip


def test_a_quote_is_read_line_by_line_and_summed() -> None:
    (draft,) = quoting.make_quote(ITEM, BENCH, FORM)
    quote = made(draft)
    assert [one.amount for one in quote.lines] == [
        Decimal("237.50"), Decimal("4.15"), Decimal("9.80"),
    ]  # fmt: skip
    assert quoting.sum_of(quote.lines).net == Decimal("251.45")
    assert (quote.currency, quote.most) == ("GBP", Decimal(300))


def test_an_hours_rate_may_be_typed_and_is_needed_where_none_is_set() -> None:
    form = {"what-0": "Work", "hours-0": "2", "rate": "50", "currency": "EUR"}
    (draft,) = quoting.make_quote(ITEM, BenchState(), form)
    assert made(draft).lines[0].amount == Decimal("100.00")
    with pytest.raises(Refusal, match="what an hour costs is not set"):
        quoting.make_quote(ITEM, BenchState(), {**form, "rate": ""})
    with pytest.raises(Refusal, match="currency"):
        quoting.make_quote(ITEM, BenchState(), {**form, "currency": ""})


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("amount-1", "-5"), ("amount-1", "1e999"), ("amount-1", "30,505"), ("amount-1", "NaN"),
        ("amount-1", "1,250"), ("amount-1", "ten"), ("hours-0", "-1"), ("hours-0", "1e9"),
        ("most", "-1"), ("day", "31.3.2026"), ("holds_until", "2026-01-01"),
        ("what-0", "x" * 301), ("currency", "<script>alert(1)</script>"), ("currency", "50 GBP"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_kept_as_typed(field: str, text: str) -> None:
    with pytest.raises(Refusal) as refused:
        quoting.make_quote(ITEM, BENCH, {**FORM, field: text})
    assert refused.value.values[field] == text
    assert refused.value.problems[0].says.endswith(".")


def test_a_quote_without_a_line_and_a_line_without_an_amount_are_refused() -> None:
    with pytest.raises(Refusal, match="at least one line"):
        quoting.make_quote(ITEM, BENCH, {"what-0": " "})
    with pytest.raises(Refusal, match="needs hours or an amount"):
        quoting.make_quote(ITEM, BENCH, {"what-0": "Mending"})


@pytest.mark.parametrize(
    ("hours", "level"), [("6.39", ""), ("6.40", "near"), ("7.99", "near"), ("8", "reached")]
)
def test_hours_quoted_are_near_at_four_fifths_and_reached_at_all(hours: str, level: str) -> None:
    assert against(quoted(None, hours=hours), BENCH).level == level


@pytest.mark.parametrize(
    ("cost", "level"), [("214.99", ""), ("215.00", "near"), ("274.99", "near"), ("275", "reached")]
)
def test_the_limit_agreed_holds_time_and_costs_together(cost: str, level: str) -> None:
    # One hour counts as the quote asks for it: 25.00; four fifths of 300.00 are 240.00.
    seen = against(quoted("300", Cost("cost-1", "material", Decimal(cost), "GBP")), BENCH)
    assert seen.level == level
    assert (seen.rows[1][3] == "100 %") == (level == "reached")


def test_the_items_own_price_and_other_currencies_are_not_held_against_the_owner() -> None:
    seen = against(
        quoted(
            "300", Cost("c1", "bought", Decimal(9000), "GBP"),
            Cost("c2", "post", Decimal(12), "EUR"),
        ),
        BENCH,
    )  # fmt: skip
    assert seen.level == ""
    assert seen.rows[1][2] == money(Decimal(25), "GBP")
    assert any("EUR" in note and "not counted in" in note for note in seen.notes)


def test_without_a_quote_and_without_a_rate_it_says_so() -> None:
    assert "No quote" in against(ITEM, BENCH).says[0]
    flat = Quote("quote-5", (Line("All of it", Decimal(100)),), "GBP")
    state = replace(ITEM, quotes={"quote-5": flat}, times={"time-1": spent("2")})
    seen = against(state, BenchState())
    assert seen.rows == () and any("not known" in note for note in seen.notes)
    assert against(state, BENCH).rows[0][2] == money(Decimal(76), "GBP")


def test_an_invoice_is_begun_from_time_and_costs() -> None:
    state = replace(
        quoted(
            "300", Cost("c1", "bought", Decimal(40), "GBP"),
            Cost("c2", "post", Decimal("9.8"), "GBP"),
        ),
        times={"a": TimeSpent("a", "mending", minutes=Decimal(75)),
               "b": TimeSpent("b", "mending", minutes=Decimal(15)),
               "c": TimeSpent("c", "", "2026-03-14T09:00:00Z")},
    )  # fmt: skip
    rows = quoting.actual_rows(state, BENCH, "GBP")
    assert [(row.what, row.hours, row.amount) for row in rows] == [
        ("mending", "1.50", "37.50"), ("Post", "", "9.80"),
    ]  # fmt: skip  # at what the quote asks for its hours: 25.00
    assert quoting.actual_rows(replace(state, quotes={}), BENCH, "GBP")[0].amount == ""


def test_an_amount_that_is_its_hours_follows_them_and_another_stays_as_it_was() -> None:
    lines = (
        Line("Work", Decimal("57.00"), Decimal("1.5")),
        Line("By hand", Decimal(60), Decimal(2)),
    )
    rows = quoting.rows_of(lines, BENCH)
    assert [row.amount for row in rows] == ["", "60.00"]
    assert [row.amount for row in quoting.rows_of(lines, BenchState())] == ["57.00", "60.00"]


def test_a_number_is_given_out_once_and_tax_is_summed_by_hand() -> None:
    form = {**FORM, "number": "2026-010", "tax_pct": "20 %"}
    (draft,) = quoting.write_invoice(ITEM, BENCH, {"2026-009": "Larkmoor Seed List"}, form)
    invoice = made(draft)
    sums = quoting.sum_of(invoice.lines, invoice.tax_pct)
    assert (sums.net, sums.tax, sums.total) == (
        Decimal("251.45"), Decimal("50.29"), Decimal("301.74"),
    )  # fmt: skip
    with pytest.raises(Refusal, match=r"Larkmoor Seed List.*2026-011"):
        quoting.write_invoice(ITEM, BENCH, {"2026-010": "Larkmoor Seed List"}, form)
    for bad in ("-3", "101", "1e999", "a fifth"):
        with pytest.raises(Refusal):
            quoting.write_invoice(ITEM, BENCH, {}, {**form, "tax_pct": bad})


def test_paid_and_cancelled_keep_the_number() -> None:
    held = Invoice("invoice-5", "7", (Line("Work", Decimal(10)),), "GBP")
    state = replace(ITEM, invoices={held.id: held})
    (paid,) = quoting.note_paid(state, {"id": held.id, "paid_on": "2026-04-01"})
    assert (made(paid).number, made(paid).paid_on) == ("7", "2026-04-01")
    (gone,) = quoting.cancel_invoice(state, {"id": held.id, "cancelled_on": "2026-04-02"})
    assert (made(gone).number, made(gone).cancelled_on) == ("7", "2026-04-02")
    for form in ({"id": "invoice-9", "paid_on": "2026-04-01"}, {"id": held.id}):
        with pytest.raises(Refusal):
            quoting.note_paid(state, form)


def test_custody_keeps_limits_ticked_and_typed_once_each() -> None:
    form = {"client": "client-2", "received_on": "2026-03-14", "insured": "450",
            "limit-0": "yes", "limits": f"Keep the staples.\n\n{custody.LIMITS[0]}\n"}  # fmt: skip
    (draft,) = custody.take_custody(ITEM, BENCH, form)
    held = made(draft)
    assert held.limits == (custody.LIMITS[0], "Keep the staples.")
    assert (held.insured, held.currency) == (Decimal(450), "GBP")
    state = replace(ITEM, custodies={"custody": held})
    assert owner_view(state, BENCH).owner.name == "Ada Fennimore"
    (back,) = custody.give_back(state, {"returned_on": "2026-04-01", "returned_how": "collected"})
    assert made(back).limits == held.limits
    with pytest.raises(Refusal, match="before it was received"):
        custody.give_back(state, {"returned_on": "2026-03-01"})
    with pytest.raises(Refusal, match="enter that first"):
        custody.give_back(ITEM, {"returned_on": "2026-04-01"})


@pytest.mark.parametrize(
    ("field", "text"),
    [("insured", "-1"), ("insured", "1e999"), ("received_on", "today"), ("client", "client-9"),
     ("limits", "x" * 301), ("limits", "a\nb\n" * 1 + "\n".join(map(str, range(30))))],
)  # fmt: skip
def test_custody_refuses_what_cannot_be(field: str, text: str) -> None:
    with pytest.raises(Refusal):
        custody.take_custody(ITEM, BENCH, {field: text})


def test_without_a_client_the_owner_is_the_one_on_the_items_card() -> None:
    assert owner_view(ITEM, BENCH).owner.name == "the Larkmoor reading room"
    (draft,) = custody.take_custody(ITEM, BenchState(), {})
    assert made(draft).client == ""
    with pytest.raises(Refusal, match="currency"):
        custody.take_custody(ITEM, BenchState(), {"insured": "5"})


def test_clients_are_kept_once_by_name_and_set_aside() -> None:
    (draft,) = clients.keep_client(BENCH, {"name": "  Bran   Tolliver ", "reach": "by the mill"})
    assert made(draft).name == "Bran Tolliver"
    (again,) = clients.keep_client(BENCH, {"id": "client-2", "name": "Ada Fennimore", "reach": ""})
    assert made(again).id == "client-2"
    for form in ({"name": ""}, {"name": "ada fennimore"}, {"name": "x" * 121},
                 {"id": "client-9", "name": "Somebody"}):  # fmt: skip
        with pytest.raises(Refusal):
            clients.keep_client(BENCH, form)
    (aside,) = clients.set_client_aside(BENCH, {"id": "client-2"})
    assert aside.body["id"] == "client-2"
    with pytest.raises(Refusal):
        clients.set_client_aside(BENCH, {"id": "client-9"})
