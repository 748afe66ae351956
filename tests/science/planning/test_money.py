"""Accounts in exact decimals: hand cases (computed here only), and that they add up."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from quirewell.science.planning.money import HUNDREDTH, Spent, account, break_even, rounded


def d(text: str) -> Decimal:
    return Decimal(text)


def test_a_hand_case_of_sending_an_item_to_grading() -> None:
    """Expected value 149; worth 100 now; press 21, fee 40, post 1.50, insurance 0.6 % of 140,
    waiting 12 weeks at 0.2 % of 149: -17.916, so it stays (hand case, no source)."""
    value = d("0.2") * 80 + d("0.5") * 140 + d("0.3") * 210
    assert value == 149
    other = (("fee", d("40")), ("post", d("1.5")), ("insurance", d("0.006") * 140),
             ("waiting", d("0.002") * value * 12))  # fmt: skip
    made = account(value, Spent(d("100"), d("21"), other=other))
    assert sum(a for _, a in other) + 121 - value == d("17.916")
    assert made.profit == d("-17.92")


def test_what_floats_get_wrong_is_right() -> None:
    tenths = tuple((f"sheet {n}", d("0.10")) for n in range(3))
    assert 0.1 + 0.1 + 0.1 != 0.3
    assert account(d("0.30"), Spent(d("0"), other=tenths)).profit == 0


def test_halves_go_to_the_even_hundredth() -> None:
    assert [rounded(d(t)) for t in ("0.125", "0.135", "2.675")] == [d("0.12"), d("0.14"), d("2.68")]


def test_an_account_adds_up_on_paper_and_stays_near_the_exact_sum() -> None:
    rng = np.random.default_rng(1)
    for _ in range(300):
        price, basis, materials, hours, hourly, share = (
            Decimal(int(x)) / 1000 for x in rng.integers(0, 200_000, 6)
        )
        share = share / 200
        made = account(price, Spent(basis, materials, hours, hourly), fee_share=share)
        assert made.profit == sum(amount for _, amount in made.lines)
        exact = (Fraction(price) * (1 - Fraction(share)) - Fraction(basis) - Fraction(materials)
                 - Fraction(hours) * Fraction(hourly))  # fmt: skip
        assert abs(Fraction(made.profit) - exact) <= Fraction(5, 200)


def test_own_time_is_told_apart() -> None:
    made = account(d("100"), Spent(d("40"), d("5"), d("4"), d("20")))
    assert (made.profit, made.before_time, made.per_hour) == (d("-25"), d("55"), d("13.75"))
    assert account(d("100"), Spent(d("40"))).per_hour is None


def test_break_even_is_the_least_price_without_a_loss() -> None:
    rng = np.random.default_rng(2)
    for _ in range(60):
        spent = Spent(Decimal(int(rng.integers(0, 20_000))) / 100)
        share, fee = (
            Decimal(int(rng.integers(0, 30))) / 100,
            Decimal(int(rng.integers(0, 500))) / 100,
        )
        price = break_even(spent, fee, share)
        assert account(price, spent, fee, share).profit >= 0
        if price > 0:
            assert account(price - HUNDREDTH, spent, fee, share).profit < 0


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="materials is 0 or more"):
        Spent(d("1"), d("-1"))
    with pytest.raises(ValueError, match="price is 0 or more"):
        account(d("-1"), Spent(d("0")))
    with pytest.raises(ValueError, match="share of 0 to 1"):
        account(d("1"), Spent(d("0")), fee_share=d("1.2"))
    with pytest.raises(ValueError, match="never pays"):
        break_even(Spent(d("1")), fee_share=d("1"))
