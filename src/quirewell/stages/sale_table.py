"""Sale records from a table: checked line by line, in one currency, each with its age.

Empty cells and prices of 0 or below are set aside and said; a grade off the scale, a date to come
or a cell that cannot be read refuses the table with its line.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quirewell.stages import sale_cells
from quirewell.stages.plain_table import TableError, read_rows
from quirewell.stages.sale_columns import Sheet, chosen, read_sheet
from quirewell.stages.typed import Unreadable, number

TOP = 10
YEAR = Decimal("365.25")
_RATE_COLUMNS = ("currency", "rate", "date", "to")
_OLD_RATE = 366


@dataclass(frozen=True, slots=True)
class Record:
    """A sale as recorded: price and fee in the table's one currency, ``day`` None if not known."""

    line: int
    grade: Decimal
    price: Decimal
    fee: Decimal | None
    day: date | None
    item: str
    note: str
    currency: str


@dataclass(frozen=True, slots=True)
class Aside:
    """A row that takes no part, and why."""

    line: int
    says: str


@dataclass(frozen=True, slots=True)
class Records:
    """What a table holds: records in one currency, rows set aside, what else is to be said, and
    the columns that were used."""

    records: tuple[Record, ...]
    aside: tuple[Aside, ...]
    notes: tuple[str, ...]
    currency: str
    columns: dict[str, str]


@dataclass(frozen=True, slots=True)
class Rate:
    """One unit of a currency is ``rate`` units of the target on a day."""

    currency: str
    rate: Decimal
    day: date


@dataclass(frozen=True, slots=True)
class Reading:
    """How a table is read where it does not say itself: matched columns ("date=Sold on"), decimal
    sign, order of dates; the day no sale may lie beyond; rates, and the currency they lead to."""

    columns: str = ""
    decimal: str = ""
    days: str = ""
    today: date | None = None
    rates: tuple[Rate, ...] = ()
    currency: str = ""


def read_sales(text: str, how: Reading | None = None) -> Records:
    """Records from a table of sales.

    Raises:
        TableError: in a sentence with the line.
    """
    how = how or Reading()
    sheet = read_sheet(text)
    places = chosen(sheet, how.columns)
    decimal = how.decimal or _told(sheet, places, "price")
    order = how.days or _order(sheet, places)
    kept: list[Record] = []
    aside: list[Aside] = []
    for line, cells in sheet.rows:
        row = {field: cells[place] for field, place in places.items()}
        try:
            found = _record(line, row, decimal, order, how)
        except Unreadable as error:
            raise TableError(f"line {line}: {error}") from error
        if isinstance(found, Aside):
            aside.append(found)
        else:
            kept.append(found)
    kept, doubled, notes = _doubles(kept)
    kept, unit, changed = _one_currency(kept, how)
    undated = sum(one.day is None for one in kept)
    if undated:
        are = "sale has" if undated == 1 else "sales have"
        notes.append(f"{undated} {are} no date: used without trend, as of middle age.")
    columns = {field: sheet.header[place] for field, place in places.items()}
    return Records(
        tuple(kept), tuple(sorted((*aside, *doubled), key=lambda one: one.line)),
        (*notes, *changed), unit, columns,
    )  # fmt: skip


def _told(sheet: Sheet, places: dict[str, int], field: str) -> str:
    cells = sheet.column(places[field])
    if "fee" in places:
        cells = [*cells, *sheet.column(places["fee"])]
    try:
        return sale_cells.decimal_sign(cells)
    except Unreadable as error:
        raise TableError(f"in the column {sheet.header[places[field]]!r} {error}") from error


def _order(sheet: Sheet, places: dict[str, int]) -> str:
    if "date" not in places:
        return ""
    try:
        return sale_cells.day_order(sheet.column(places["date"]))
    except Unreadable as error:
        raise TableError(f"in the column {sheet.header[places['date']]!r} {error}") from error


def _record(
    line: int, row: dict[str, str], decimal: str, order: str, how: Reading
) -> Record | Aside:
    if not row["price"] and not row["grade"]:
        return Aside(line, "it has neither price nor grade")
    for field in ("price", "grade"):
        if not row[field]:
            return Aside(line, f"it has no {field}")
    points = sale_cells.grade(row["grade"])
    if not 0 < points <= TOP:
        raise Unreadable(f"a grade lies above 0 and up to {TOP}, got {points}; set it right")
    amount = sale_cells.money(row["price"], decimal)
    if amount.value <= 0:
        return Aside(line, f"its price is {amount.value}; a sale has a price above 0")
    told = sale_cells.currency(row.get("currency", ""))
    if told and not sale_cells.agree(amount.currency, told):
        raise Unreadable(
            f"the price is in {amount.currency}, the column says {told}; set one of them right"
        )
    unit = told or amount.currency
    fee = None
    if row.get("fee"):
        fee = _fee(row["fee"], amount.value, decimal, unit)
    when = sale_cells.day(row["date"], order) if row.get("date") else None
    if when is not None and how.today is not None and when > how.today:
        raise Unreadable(f"{when} lies after {how.today}; set the date right (or --today)")
    item, note = row.get("item", ""), row.get("note", "")
    return Record(line, points, amount.value, fee, when, item, note, unit)


def _fee(cell: str, price: Decimal, decimal: str, unit: str) -> Decimal:
    if cell.endswith("%"):
        return price * number(cell.rstrip("% ")) / 100
    fee = sale_cells.money(cell, decimal)
    if not sale_cells.agree(fee.currency, unit):
        raise Unreadable(f"the fee is in {fee.currency}, the price in {unit or 'no currency'}")
    if not 0 <= fee.value <= price:
        raise Unreadable(f"a fee lies between 0 and the price of {price}, got {fee.value}")
    return fee.value


def _doubles(records: list[Record]) -> tuple[list[Record], list[Aside], list[str]]:
    """Rows alike in every field count once where they are dated; undated ones are only named."""
    first: dict[tuple[object, ...], int] = {}
    kept, aside, notes = [], [], []
    for one in records:
        key = (one.grade, one.price, one.day, one.item.lower(), one.note.lower(), one.currency)
        if key not in first:
            first[key] = one.line
        elif one.day is not None:
            aside.append(Aside(
                one.line, f"it is alike line {first[key]} in all; if these are two sales, tell "
                "them apart in the note"))  # fmt: skip
            continue
        else:
            notes.append(
                f"Lines {first[key]} and {one.line} are alike and have no date: both are used; "
                "are they one sale?"
            )
        kept.append(one)
    return kept, aside, notes


def _one_currency(
    records: list[Record], how: Reading
) -> tuple[list[Record], str, list[str]]:  # fmt: skip
    there = {one.currency for one in records}
    rated = {one.currency for one in how.rates}
    wanted = sale_cells.currency(how.currency)
    target = wanted or (next(iter(there)) if len(there) == 1 else "")
    if not target and len(there - rated) == 1:
        target = next(iter(there - rated))
    if there <= {target} or (there == {""} and not how.rates):
        return records, target, []
    if "" in there and len(there) > 1:
        line = next(one.line for one in records if not one.currency)
        raise TableError(
            f"line {line}: it names no currency and other lines do; give each line its currency"
        )
    missing = sorted(there - rated - {target})
    if missing or not target:
        raise TableError(
            f"the sales are in {', '.join(sorted(there))[:200]}, and nothing says what one is in "
            "another; give a table of rates (--rates: currency, rate, date) or one currency only"
        )
    out, far = [], 0
    for one in records:
        if one.currency == target:
            out.append(one)
            continue
        rate = _rate_for(one, how.rates)
        far += one.day is None or abs((one.day - rate.day).days) > _OLD_RATE
        out.append(Record(
            one.line, one.grade, one.price * rate.rate,
            None if one.fee is None else one.fee * rate.rate,
            one.day, one.item, one.note, target,
        ))  # fmt: skip
    notes = [f"{sum(one.currency != target for one in records)} sales were turned into {target} by "
             "your rates, each by the latest rate of its day or before."]  # fmt: skip
    if far:
        notes.append(f"{far} of them have no date, or no rate within a year of it.")
    return out, target, notes


def _rate_for(one: Record, rates: tuple[Rate, ...]) -> Rate:
    """The latest rate up to the sale's day; before the first the first; undated the newest."""
    mine = sorted((rate for rate in rates if rate.currency == one.currency), key=lambda r: r.day)
    if one.day is None:
        return mine[-1]
    return next((rate for rate in reversed(mine) if rate.day <= one.day), mine[0])


def read_rates(text: str, today: date | None = None) -> tuple[tuple[Rate, ...], str]:
    """Rates (currency, rate, date: one unit of the currency is so many of the target), and the
    target where a column ``to`` names it.

    Raises:
        TableError: in a sentence with the line.
    """
    out, targets = [], set()
    for line, row in read_rows(text, _RATE_COLUMNS, _RATE_COLUMNS[:3], "a table of rates"):
        try:
            rate = number(row["rate"])
            when = sale_cells.day(row["date"], "")
        except Unreadable as error:
            raise TableError(f"line {line}: {error}") from error
        if rate <= 0 or not row["currency"]:
            raise TableError(f"line {line}: a rate has a currency and is above 0")
        if today is not None and when > today:
            raise TableError(f"line {line}: {when} lies after {today}; set the date right")
        out.append(Rate(sale_cells.currency(row["currency"]), rate, when))
        targets.add(sale_cells.currency(row.get("to", "")))
    if len(targets) > 1:
        raise TableError("the rates lead to several currencies; one table leads to one")
    return tuple(out), next(iter(targets))


def age_in_years(when: date, today: date) -> Decimal:
    """Years from a sale to the day asked for, as a number of 0 or more."""
    return Decimal((today - when).days) / YEAR
