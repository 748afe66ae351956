"""Sales kept in the books: one typed by hand, or a table looked at first and then kept.

Cells are read as :mod:`.sale_cells` reads them. A row that cannot be read is set aside with its
reason and the others are taken; rows that the books hold already are recognised.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from quirewell.record.bench import BenchState
from quirewell.record.books import Sale
from quirewell.record.codec import from_body, to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Retract
from quirewell.stages import sale_cells
from quirewell.stages.column_match import Aside, Matched, match
from quirewell.stages.own_sales import title_key
from quirewell.stages.refusal import Problem, Refusal
from quirewell.stages.sale_columns import Sheet, propose
from quirewell.stages.typed import Unreadable, number
from quirewell.studio.studio import STUDIO

Form = Mapping[str, str]
TITLE_SIGNS = 200
NOTE_SIGNS = 500
FIELDS = (
    ("", "not used"), ("item", "title"), ("date", "day sold"), ("grade", "grade"),
    ("price", "price before fees"), ("currency", "currency"), ("fee", "fees, or their %"),
    ("note", "note"),
)  # fmt: skip


def keep_sale(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """One sale typed by hand: ``title`` and ``price`` ("82.50 EUR"); all else may stay empty.

    Raises:
        Refusal: with a sentence at the box.
    """
    problems: list[Problem] = []
    title = clean(form.get("title", ""), TITLE_SIGNS)
    if not title:
        problems.append(Problem("title", "Say what was sold; a working title will do."))
    price, unit = Decimal(0), sale_cells.currency(form.get("currency", ""))
    try:
        amount = sale_cells.money(form.get("price", ""), _point(form.get("price", "")))
        price, unit = amount.value, _one_unit(amount.currency, unit)
    except Unreadable as error:
        problems.append(Problem("price", f"The price: {for_page(error)}."))
    read: dict[str, object] = {}
    for name, parse in (("on", _day), ("grade", points), ("fees", None)):
        text = form.get(name, "").strip()
        if not text or problems:
            continue
        try:
            read[name] = parse(text) if parse else fee_of(text, price, _point(text), unit)
        except Unreadable as error:
            problems.append(Problem(name, f"{_LABELS[name]}: {for_page(error)}."))
    if problems:
        raise Refusal(tuple(problems), values=dict(form))
    said = {"yes": True, "no": False}
    sale = _sale(
        form, id=f"sale-{bench.version + 1}", title=title, price=price, currency=unit,
        treated=said.get(form.get("treated", "")), own=said.get(form.get("own", "yes")),
        item=form.get("item", ""), note=clean(form.get("note", ""), NOTE_SIGNS), **read,
    )  # fmt: skip
    return (Draft(STUDIO, "sale.recorded", to_body(sale)),)


_LABELS = {"on": "The day", "grade": "The grade", "fees": "The fees"}


def _sale(form: Form, **given: object) -> Sale:
    try:
        return from_body(Sale, to_body(Sale(**given)))  # type: ignore[arg-type]
    except ValueError as error:
        says = f"{error}".removeprefix("Sale: ")
        field = next((name for name in ("grade", "fees", "day") if name in says), "price")
        where = "on" if field == "day" else field
        raise Refusal((Problem(where, f"{says[:1].upper()}{says[1:]}."),), values=dict(form)) from (
            error
        )


def _point(text: str) -> str:
    """The decimal sign of one typed amount; a lone comma before three figures stays unsure."""
    return sale_cells.decimal_sign([text.strip()])


def for_page(error: Exception) -> str:
    """A cell's refusal without the names of options that a page has not."""
    says = f"{error}"
    for mark in (" (--", "; say whether decimals", " Say which (--"):
        says = says.partition(mark)[0]
    return says.rstrip(".")


def _one_unit(cell: str, told: str) -> str:
    """The currency a cell and its column (or box) name together.

    Raises:
        Unreadable: two that differ.
    """
    if told and not sale_cells.agree(cell, told):
        raise Unreadable(f"the amount is in {cell} and the currency said is {told}; which is it?")
    return told or cell


def points(text: str) -> Decimal:
    """A grade on the ten-point scale, with or without words behind it.

    Raises:
        Unreadable: no number, or off the scale.
    """
    value = sale_cells.grade(text)
    if not 0 < value <= 10:
        raise Unreadable(f"a grade lies above 0 and up to 10, got {value}")
    return value


def fee_of(text: str, price: Decimal, decimal: str, unit: str) -> Decimal:
    """A fee as an amount, or as a share ("12 %") of the price.

    Raises:
        Unreadable: no amount, more than the price, or another currency.
    """
    if text.rstrip().endswith("%"):
        share = number(text.strip().rstrip("% "))
        if not 0 <= share <= 100:
            raise Unreadable(f"a fee is 0 to 100 % of the price, got {share} %")
        return (price * share / 100).quantize(Decimal("0.01"))
    fee = sale_cells.money(text, decimal)
    if not sale_cells.agree(fee.currency, unit):
        raise Unreadable(f"the fee is in {fee.currency}, the price in {unit or 'no currency'}")
    if not 0 <= fee.value <= price:
        raise Unreadable(f"a fee lies between 0 and the price of {price}, got {fee.value}")
    return fee.value


def _day(text: str) -> str:
    return day_text(text, "")


def day_text(text: str, order: str, today: date | None = None) -> str:
    """A day as 2026-03-31 from what was typed.

    Raises:
        Unreadable: no date, one that can be read two ways, or one to come.
    """
    when = sale_cells.day(text, order or sale_cells.day_order([text]))
    if today is not None and when > today:
        raise Unreadable(f"{when} is still to come")
    return when.isoformat()


def clean(text: str, most: int) -> str:
    """One line of text without control signs."""
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(plain.split())[:most]


# --- a table ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Looked:
    """A table looked at, nothing kept: its columns, the sales it would add, rows set aside, and
    rows the books hold already."""

    matched: Matched
    taken: tuple[tuple[int, Sale], ...]
    aside: tuple[Aside, ...]
    doubled: tuple[Aside, ...]


def _proposed(sheet: Sheet) -> dict[str, tuple[int, str]]:
    return {one.field: (one.place, one.why) for one in propose(sheet)}


def look(bench: BenchState, text: str, form: Form, today: date | None = None) -> Looked:
    """What a table of sales would add; ``form`` may say ``col.0`` ..., ``decimal``, ``days``,
    ``currency`` where the table names none, and ``title`` where all are of one.

    Raises:
        TableError: no table of sales.
    """
    needed = {"price": "the price"}
    if not form.get("title", "").strip():
        needed["item"] = "the title (or say below what all of them are of)"
    matched = match(text, form, _proposed, needed)
    if matched.problems:
        return Looked(matched, (), (), ())
    there = Counter(_key(one) for one in bench.sales.values())
    taken: list[tuple[int, Sale]] = []
    aside: list[Aside] = []
    doubled: list[Aside] = []
    first: dict[tuple[object, ...], int] = {}
    for line, row in matched.sheet.rows:
        try:
            sale = _from_row(matched, matched.cells(row), form, today)
        except ValueError as error:
            aside.append(Aside(line, for_page(error)))
            continue
        key = _key(sale)
        if there[key]:
            there[key] -= 1
            doubled.append(Aside(line, "the books hold it already"))
        elif sale.on and (key, sale.note) in first:
            says = f"it is alike line {first[key, sale.note]} in all; if these are two sales, tell "
            doubled.append(Aside(line, f"{says}them apart in the note"))
        else:
            first.setdefault((key, sale.note), line)
            taken.append((line, sale))
    return Looked(matched, tuple(taken), tuple(aside), tuple(doubled))


def _key(one: Sale) -> tuple[object, ...]:
    return (title_key(one.title), one.price, one.currency, one.grade, one.on, one.fees)


def _from_row(matched: Matched, row: dict[str, str], form: Form, today: date | None) -> Sale:
    title = clean(row.get("item", "") or form.get("title", ""), TITLE_SIGNS)
    if not title:
        raise Unreadable("it has no title")
    if title.startswith("="):
        raise Unreadable(f"its title is a formula ({title[:30]}); save the values, not the sums")
    if not row["price"]:
        raise Unreadable("it has no price")
    amount = sale_cells.money(row["price"], matched.decimal)
    if amount.value <= 0:
        raise Unreadable(f"its price is {amount.value}; a sale has a price above 0")
    told = row.get("currency", "")
    unit = _one_unit(amount.currency, sale_cells.currency(told))
    unit = unit or sale_cells.currency(form.get("currency", ""))
    grade = points(row["grade"]) if row.get("grade") else None
    on = day_text(row["date"], matched.order, today) if row.get("date") else ""
    fees = None
    if row.get("fee"):
        fees = fee_of(row["fee"], amount.value, matched.decimal, unit)
    return Sale("", title, amount.value, clean(unit, 20), grade, on, fees,
                note=clean(row.get("note", ""), NOTE_SIGNS), own=True)  # fmt: skip


def keep_table(bench: BenchState, seen: Looked, came: str) -> tuple[Draft, ...]:
    """The sales of a table that was looked at; ``came`` names the table.

    Raises:
        Refusal: there is nothing new in it.
    """
    if not seen.taken:
        raise Refusal((Problem("table", "There is no new sale in this table to keep."),))
    name = clean(came, 120) or "a table"
    return tuple(
        Draft(STUDIO, "sale.recorded",
              to_body(replace(sale, id=f"sale-{bench.version + 1 + place}", came=name)))
        for place, (_, sale) in enumerate(seen.taken)
    )  # fmt: skip


def aside_table(bench: BenchState, form: Form) -> tuple[Draft, ...]:
    """Set aside every sale that came with one table (``came``); all stay in the journal.

    Raises:
        Refusal: no such table.
    """
    mine = [one.id for one in bench.sales.values() if one.came and one.came == form.get("came")]
    if not mine:
        raise Refusal((Problem("came", "No sale of such a table is in the books."),))
    return tuple(
        Draft(STUDIO, "record.retracted", to_body(Retract(one, "the whole table set aside")))
        for one in mine
    )
