"""Sums of a quote or an invoice, exact to the hundredth.

A line is rounded when it is made (hours times the worth of an hour), the tax once on the sum of
the lines, each with halves up: so that whoever holds the paper can check it with one
multiplication, and one line more or less never moves the tax of the others. That is the way of
electronic invoices in Europe, tax of a rate = round(sum of its lines x rate / 100, 2)
[en16931, rule BR-CO-17]; a place whose law rounds by line can write its tax as a line.
(An account of the own house, :mod:`quirewell.science.planning.money`, rounds halves to the even
one instead: there nobody is asked to pay the line.)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal

HUNDREDTH = Decimal("0.01")
ROUNDING = "each line to hundredths; the tax once, on the sum of the lines; halves up"
# Where an agreed limit is near, and where it is reached (common practice, no source).
NEAR_PCT, REACHED_PCT = Decimal(80), Decimal(100)
_EXACT = Context(prec=60)


@dataclass(frozen=True, slots=True)
class Bill:
    """The sum of the lines, the tax on it, and both together; in one currency."""

    net: Decimal
    tax: Decimal
    total: Decimal


def to_hundredths(amount: Decimal) -> Decimal:
    """An amount to hundredths, halves up.

    >>> to_hundredths(Decimal("2.345")), to_hundredths(Decimal("19.0038"))
    (Decimal('2.35'), Decimal('19.00'))
    """
    return amount.quantize(HUNDREDTH, ROUND_HALF_UP, _EXACT)


def work(hours: Decimal, hourly: Decimal) -> Decimal:
    """What hours of work come to.

    >>> work(Decimal("1.25"), Decimal("30.50"))
    Decimal('38.13')
    """
    return to_hundredths(_EXACT.multiply(hours, hourly))


def bill(amounts: Iterable[Decimal], tax_pct: Decimal | None = None) -> Bill:
    """The sums over lines; ``tax_pct`` [%] on top of them, none where none is asked.

    >>> bill([Decimal("33.34")] * 3, Decimal(19))
    Bill(net=Decimal('100.02'), tax=Decimal('19.00'), total=Decimal('119.02'))
    """
    net = Decimal(0)
    for amount in amounts:
        net = _EXACT.add(net, to_hundredths(amount))
    net = to_hundredths(net)
    tax = to_hundredths(_EXACT.multiply(net, tax_pct or Decimal(0)) / 100)
    return Bill(net, tax, _EXACT.add(net, tax))


def share_pct(part: Decimal, whole: Decimal) -> Decimal | None:
    """A part of an agreed whole [%], exact enough to be held against a limit; None of nothing."""
    return _EXACT.divide(part * 100, whole) if whole else None
