"""Sums of a bill, by hand and against a published example invoice."""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.science.planning.bill import bill, share_pct, to_hundredths, work


@pytest.mark.parametrize(("net", "pct", "tax"), [("183.23", "6", "10.99"), ("46.37", "21", "9.74")])
def test_the_tax_of_the_published_example(net: str, pct: str, tax: str) -> None:
    """Example 1 of the public validation files of EN 16931 [en16931]: both rates of its invoice."""
    assert bill([Decimal(net)], Decimal(pct)).tax == Decimal(tax)


def test_a_bill_worked_by_hand() -> None:
    # 6.25 h at 38.00 = 237.50; tissue 4.15; post 9.80: net 251.45; 20 % = 50.29; 301.74 in all.
    made = bill([work(Decimal("6.25"), Decimal(38)), Decimal("4.15"), Decimal("9.80")], Decimal(20))
    assert (made.net, made.tax, made.total) == (
        Decimal("251.45"), Decimal("50.29"), Decimal("301.74"),
    )  # fmt: skip


def test_tax_is_rounded_on_the_sum_and_not_line_by_line() -> None:
    # Three lines of 0.33 at 7.5 %: line by line 0.02 each, 0.06 (wrong); on 0.99 it is 0.07.
    assert bill([Decimal("0.33")] * 3, Decimal("7.5")).tax == Decimal("0.07")


def test_halves_go_up() -> None:
    # 10 % of 0.25 is 0.025; to the even hundredth it would be 0.02.
    assert bill([Decimal("0.25")], Decimal(10)).tax == Decimal("0.03")
    assert to_hundredths(Decimal("2.345")) == Decimal("2.35")


def test_nothing_and_no_tax() -> None:
    assert bill([]).total == 0
    assert bill([Decimal(5)]).tax == 0
    assert share_pct(Decimal(1), Decimal(0)) is None
    assert share_pct(Decimal(2), Decimal(8)) == 25


def test_a_large_sum_stays_exact() -> None:
    made = bill([Decimal("999999999.99")] * 30, Decimal("19.25"))
    assert made.net == Decimal("29999999999.70")
    assert made.tax == Decimal("5774999999.94")  # 5774999999.94225
