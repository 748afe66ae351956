"""Own sales out of the books, as the table the estimate reads."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from quirewell.record.bench import EMPTY_BENCH, BenchState
from quirewell.record.books import Rates, Sale
from quirewell.stages.methods import run_method
from quirewell.stages.own_sales import rates_of, sales_table
from quirewell.stages.sale_table import read_sales

TITLE = "Copperbeck Garden Annual, 1936"


def bench(*sales: Sale) -> BenchState:
    return replace(EMPTY_BENCH, sales={one.id: one for one in sales})


def sale(number: int, price: str, grade: str | None = "4.0", **more: object) -> Sale:
    points = None if grade is None else Decimal(grade)
    given: dict[str, object] = {"title": TITLE, "currency": "EUR", **more}
    return Sale(f"sale-{number}", price=Decimal(price), grade=points, **given)  # type: ignore[arg-type]


def test_no_sales_make_no_table() -> None:
    assert sales_table(EMPTY_BENCH) == ""
    assert sales_table(bench(sale(1, "80")), "Another Annual") == ""


def test_the_table_reads_back_as_it_was_kept() -> None:
    books = bench(
        sale(1, "82.50", on="2025-03-01", fees=Decimal("8.25"), note='a "good" one; and\nmore'),
        sale(2, "1E+2", "6.0", on="2026-01-31"),
        sale(3, "40", title="copperbeck  garden annual, 1936 "),
        sale(4, "77", title="Larkmoor Almanac"),
    )
    found = read_sales(sales_table(books, TITLE))
    assert [str(one.price) for one in found.records] == ["40", "82.50", "100"]
    assert [one.fee for one in found.records] == [None, Decimal("8.25"), None]
    assert found.currency == "EUR"
    assert {one.item.lower() for one in found.records} == {TITLE.lower()}
    assert len(read_sales(sales_table(books)).records) == 4


def test_a_sale_without_grade_is_named_and_set_aside_by_the_estimate() -> None:
    books = bench(sale(1, "80", on="2025-03-01"), sale(2, "90", None, on="2025-04-01"))
    run = run_method(
        "worth.estimate", "item",
        {}, params={"sales": sales_table(books), "grade": "4", "today": "2026-01-01"},
    )  # fmt: skip
    assert [one.text for one in run.findings if one.quantity == "worth.set_aside"] == [
        "line 3: it has no grade"
    ]


def test_currencies_that_mix_are_refused_in_words() -> None:
    books = bench(sale(1, "80"), sale(2, "90", currency="GBP"))
    with pytest.raises(ValueError, match="EUR, GBP"):
        read_sales(sales_table(books))


def test_rates_say_what_is_known_and_fall_back_on_the_sales() -> None:
    assert rates_of(EMPTY_BENCH) == Rates("", "")
    books = bench(sale(1, "100", fees=Decimal(12)), sale(2, "50", fees=Decimal(5)), sale(3, "9"))
    assert rates_of(books).currency == "EUR"
    assert rates_of(books).sale_fee_pct == Decimal("11.0")
    told = Rates("rates-1", "GBP", hour=Decimal(18), sale_fee_pct=Decimal(13))
    assert rates_of(replace(books, rates={"rates-1": told})) == told


def test_of_very_many_the_newest_are_given() -> None:
    books = bench(*(sale(n, str(1 + n), on="2025-03-01", note="x" * 60) for n in range(3000)))
    found = read_sales(sales_table(books))
    assert 1000 < len(found.records) < 3000
    assert found.records[-1].price == 3000
