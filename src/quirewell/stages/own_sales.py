"""The practice's own sales as the table that ``worth.estimate`` reads, and its rates."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from statistics import median

from quirewell.record.bench import BenchState
from quirewell.record.books import Rates, Sale
from quirewell.stages.plain_table import MOST_CHARACTERS
from quirewell.stages.sale_columns import FIELDS

_NOTE = 60


def same_title(one: str, other: str) -> bool:
    """Whether two titles are the same but for case and spaces.

    >>> same_title("Copperbeck  Garden Annual", "copperbeck garden annual ")
    True
    """
    return title_key(one) == title_key(other)


def title_key(title: str) -> str:
    """A title as it is compared."""
    return " ".join(title.split()).casefold()


def sales_of(bench: BenchState, title: str = "") -> tuple[Sale, ...]:
    """Sales of a title ("" for all), newest last; sales without a day first."""
    mine = [one for one in bench.sales.values() if not title or same_title(one.title, title)]
    return tuple(sorted(mine, key=lambda one: one.on))


def sales_table(bench: BenchState, title: str = "") -> str:
    """Own sales of a title ("" for all) as a table for ``worth.estimate``; "" where none are.

    Sales without a grade stay in it: the method names them as set aside. Of very many the newest.
    """
    return table_of(sales_of(bench, title))


def table_of(sales: Iterable[Sale]) -> str:
    """Sales as a table with the columns date, grade, price, currency, fee, note, item; the newest
    where all would be more than a table may hold."""
    lines: list[str] = []
    room = MOST_CHARACTERS - 1000
    for one in reversed(list(sales)):
        grade = "" if one.grade is None else plain(one.grade)
        fee = "" if one.fees is None else plain(one.fees)
        note = _line(one.note)[:_NOTE]
        line = _row((one.on, grade, plain(one.price), one.currency, fee, note, _line(one.title)))
        room -= len(line)
        if room < 0:
            break
        lines.append(line)
    return "".join((_row(FIELDS), *reversed(lines))) if lines else ""


def _row(cells: Iterable[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def plain(amount: Decimal) -> str:
    """A decimal as it would be typed, without exponents.

    >>> plain(Decimal("1E+2")), plain(Decimal("12.50"))
    ('100', '12.50')
    """
    return f"{amount:f}"


def _line(text: str) -> str:
    return " ".join(text.replace(";", ",").split())


def rates_of(bench: BenchState) -> Rates:
    """Currency, an hour's rate, overhead and sale fee as far as they are known.

    What was never set comes from the own sales: their currency where all are in one, and the
    middle of the fees recorded.
    """
    known = bench.rate() or Rates("", "")
    if not known.currency:
        there = {one.currency for one in bench.sales.values()}
        known = replace(known, currency=next(iter(there)) if len(there) == 1 else "")
    if known.sale_fee_pct is None:
        shares = [
            100 * one.fees / one.price
            for one in bench.sales.values()
            if one.fees is not None and one.own is not False
        ]
        if shares:
            middle = Decimal(median(shares)).quantize(Decimal("0.1"))
            known = replace(known, sale_fee_pct=middle)
    return known
