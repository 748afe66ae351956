"""Profit and loss of one item in exact decimals: what it cost, what went into it, what it brought.

Every line is rounded once, to hundredths, halves to the even one (``ROUNDING``); totals are sums of
the rounded lines, so that the account adds up on paper. One currency throughout.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Context, Decimal

ROUNDING = "each line to hundredths, halves to the even one; totals are sums of rounded lines"
HUNDREDTH = Decimal("0.01")
_EXACT = Context(prec=60)


def rounded(amount: Decimal) -> Decimal:
    """An amount to hundredths, halves to the even one.

    >>> rounded(Decimal("2.345")), rounded(Decimal("2.355")), rounded(Decimal("-0.005"))
    (Decimal('2.34'), Decimal('2.36'), Decimal('-0.00'))
    """
    return amount.quantize(HUNDREDTH, rounding=ROUND_HALF_EVEN, context=_EXACT)


@dataclass(frozen=True, slots=True)
class Spent:
    """What went into an item. ``basis``: paid for it, with its share of post and premium;
    ``other``: grading, packing and the like, each with a name; ``hourly``: of own time."""

    basis: Decimal
    materials: Decimal = Decimal(0)
    hours: Decimal = Decimal(0)
    hourly: Decimal = Decimal(0)
    other: tuple[tuple[str, Decimal], ...] = field(default=())

    def __post_init__(self) -> None:
        named = (
            ("what was paid for it", self.basis),
            ("materials", self.materials),
            ("hours", self.hours),
            ("the worth of an hour", self.hourly),
            *self.other,
        )
        for name, amount in named:
            if not (amount.is_finite() and amount >= 0):
                raise ValueError(f"{name} is 0 or more, got {amount}")


@dataclass(frozen=True, slots=True)
class Account:
    """Lines (name, amount; costs below 0), the profit, the same with own time not counted, and what
    an hour earned (None without hours)."""

    lines: tuple[tuple[str, Decimal], ...]
    profit: Decimal
    before_time: Decimal
    per_hour: Decimal | None


def account(
    price: Decimal, spent: Spent, fee: Decimal = Decimal(0), fee_share: Decimal = Decimal(0)
) -> Account:
    """Profit or loss at a price, less a fee and a share of the price (0 to 1) that the sale costs.

    >>> one = account(Decimal(150), Spent(Decimal(40), Decimal("3.20"), Decimal(2), Decimal(15)),
    ...               fee_share=Decimal("0.12"))
    >>> one.profit, one.before_time, one.per_hour
    (Decimal('58.80'), Decimal('88.80'), Decimal('44.40'))
    """
    if not (price.is_finite() and price >= 0):
        raise ValueError(f"a price is 0 or more, got {price}")
    if not (fee.is_finite() and fee >= 0 and 0 <= fee_share <= 1):
        raise ValueError(f"a fee is 0 or more and a share of 0 to 1, got {fee} and {fee_share}")
    made = (
        ("price", price),
        ("fees of the sale", -_sum((fee, _EXACT.multiply(fee_share, price)))),
        ("paid for it", -spent.basis),
        ("materials", -spent.materials),
        *((name, -amount) for name, amount in spent.other),
        ("own time", -_EXACT.multiply(spent.hours, spent.hourly)),
    )
    lines = tuple((name, rounded(amount)) for name, amount in made)
    profit = _sum(amount for _, amount in lines)
    before = _sum((profit, -lines[-1][1]))
    hour = rounded(_EXACT.divide(before, spent.hours)) if spent.hours else None
    return Account(lines, profit, before, hour)


def break_even(spent: Spent, fee: Decimal = Decimal(0), fee_share: Decimal = Decimal(0)) -> Decimal:
    """The least price, to hundredths and rounded up, that leaves no loss.

    >>> break_even(Spent(Decimal(88)), fee_share=Decimal("0.12"))
    Decimal('100.00')
    """
    if not 0 <= fee_share < 1:
        raise ValueError(f"a sale that costs all of its price never pays, got {fee_share}")
    costs = -account(Decimal(0), spent, fee).profit
    price = rounded(_EXACT.divide(costs, 1 - fee_share))
    while account(price, spent, fee, fee_share).profit < 0:
        price += HUNDREDTH
    while price > 0 and account(price - HUNDREDTH, spent, fee, fee_share).profit >= 0:
        price -= HUNDREDTH
    return price


def _sum(amounts: Iterable[Decimal]) -> Decimal:
    total = Decimal(0)
    for amount in amounts:
        total = _EXACT.add(total, amount)
    return total
