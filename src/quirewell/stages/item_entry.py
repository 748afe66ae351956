"""Items opened from the table of an existing collection: looked at first, then kept.

A row becomes an item with what was paid (a cost), what it is held for and where, and the owner's
own estimate. Only a title is needed. A row that cannot be read is refused with its reason and the
others are taken. An item that was opened cannot be unopened; what was noted of it can be undone.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from quirewell.record.codec import to_body
from quirewell.record.dealing import Cost, Holding
from quirewell.record.event import Draft
from quirewell.record.nouns import GradeEstimate, Item, ItemState
from quirewell.stages import sale_cells
from quirewell.stages.column_match import Aside, Matched, match
from quirewell.stages.own_sales import title_key
from quirewell.stages.plain_table import TableError
from quirewell.stages.sale_columns import Sheet
from quirewell.stages.sale_entry import TITLE_SIGNS, clean, day_text, for_page
from quirewell.stages.typed import Unreadable

Form = Mapping[str, str]
FIELDS = (
    ("", "not used"), ("title", "title"), ("year", "year of issue"), ("form", "form"),
    ("paid", "what was paid"), ("currency", "currency"), ("date", "day it was bought"),
    ("grade", "own estimate of the grade"), ("value", "what it would bring now"),
    ("place", "where it is kept"), ("note", "note"),
)  # fmt: skip
_CLUES: Mapping[str, re.Pattern[str]] = {
    "title": re.compile(r"title|name|\bwhat\b|publication|artikel|titel", re.IGNORECASE),
    "paid": re.compile(r"paid|cost|price|bought for|preis|kosten", re.IGNORECASE),
    "date": re.compile(r"date|bought|acquired|\bwhen\b|\bday\b|datum|gekauft", re.IGNORECASE),
    "year": re.compile(r"year|issued?\b|jahr", re.IGNORECASE),
    "grade": re.compile(r"grad|condition|\bcond\b|zustand", re.IGNORECASE),
    "currency": re.compile(r"curr|\bccy\b|währung", re.IGNORECASE),
    "place": re.compile(r"place|where|box|shelf|location|ort\b", re.IGNORECASE),
    "value": re.compile(r"value|worth|wert", re.IGNORECASE),
    "form": re.compile(r"\bform\b|\bkind\b|type", re.IGNORECASE),
    "note": re.compile(r"note|remark|comment|notiz", re.IGNORECASE),
}
_NOTES = 4000


@dataclass(frozen=True, slots=True)
class Row:
    """One item as a table has it."""

    title: str
    year: str = ""
    form: str = ""
    paid: Decimal | None = None
    currency: str = ""
    day: str = ""
    grade: Decimal | None = None
    value: Decimal | None = None
    place: str = ""
    note: str = ""

    @property
    def key(self) -> tuple[object, ...]:
        """What makes two rows the same copy: title, year, what was paid and when."""
        return (title_key(self.title), self.year, self.paid, self.day)


@dataclass(frozen=True, slots=True)
class LookedItems:
    """A table looked at, nothing opened: its columns, the items it would open, rows refused, and
    rows that the studio has already."""

    matched: Matched
    taken: tuple[tuple[int, Row], ...]
    aside: tuple[Aside, ...]
    doubled: tuple[Aside, ...]


def _proposed(sheet: Sheet) -> dict[str, tuple[int, str]]:
    free = dict(enumerate(sheet.header))
    out: dict[str, tuple[int, str]] = {}
    for exact in (True, False):
        for field, clue in _CLUES.items():
            able = [
                place for place, name in free.items()
                if (name.lower() == field if exact else clue.search(name))
            ]  # fmt: skip
            if field not in out and able:
                out[field] = (able[0], f"by its name {sheet.header[able[0]][:40]!r}")
                del free[able[0]]
    return out


def look_items(
    text: str, form: Form, there: Iterable[ItemState], today: date | None = None
) -> LookedItems:
    """What a table of a collection would open. ``there`` are the items the studio has; ``again``
    = "yes" in the form opens rows all the same that are alike one of them (a second copy).

    Raises:
        TableError: no table.
    """
    try:
        matched = match(text, form, _proposed, {"title": "the title"})
    except TableError as error:
        raise TableError(f"{error}".replace("a table of sales", "a table of a collection")) from (
            error
        )
    if matched.problems:
        return LookedItems(matched, (), (), ())
    known = Counter(_key_of(one) for one in there)
    taken: list[tuple[int, Row]] = []
    aside: list[Aside] = []
    doubled: list[Aside] = []
    for line, cells in matched.sheet.rows:
        try:
            row = _row(matched, matched.cells(cells), form, today)
            drafts_of("x", row)
        except ValueError as error:
            aside.append(Aside(line, for_page(error)))
            continue
        if known[row.key] and form.get("again") != "yes":
            known[row.key] -= 1
            doubled.append(Aside(line, "the studio has it already, by title, year, price and day"))
        else:
            taken.append((line, row))
    return LookedItems(matched, tuple(taken), tuple(aside), tuple(doubled))


def _key_of(state: ItemState) -> tuple[object, ...]:
    bought = next((one for one in state.costs.values() if one.kind == "bought"), None)
    return (
        title_key(state.item.title), state.item.year,
        bought.amount if bought else None, bought.day if bought else "",
    )  # fmt: skip


def _row(matched: Matched, row: dict[str, str], form: Form, today: date | None) -> Row:
    title = clean(row.get("title", ""), TITLE_SIGNS)
    if not title:
        raise Unreadable("it has no title")
    if title.startswith("="):
        raise Unreadable(f"its title is a formula ({title[:30]}); save the values, not the sums")
    unit = sale_cells.currency(row.get("currency", ""))
    money: dict[str, Decimal | None] = {"paid": None, "value": None}
    for name in money:
        if row.get(name):
            amount = sale_cells.money(row[name], matched.decimal)
            if amount.value < 0:
                raise Unreadable(f"{dict(FIELDS)[name]} is below nothing: {amount.value}")
            if unit and not sale_cells.agree(amount.currency, unit):
                raise Unreadable(
                    f"one amount is in {amount.currency}, another or its column in {unit}"
                )
            unit = unit or amount.currency
            money[name] = amount.value
    unit = unit or sale_cells.currency(form.get("currency", ""))
    grade = None
    if row.get("grade"):
        grade = sale_cells.grade(row["grade"])
        if not Decimal("0.5") <= grade <= 10:
            raise Unreadable(f"a grade lies between 0.5 and 10, got {grade}")
    bought = day_text(row["date"], matched.order, today) if row.get("date") else ""
    note = clean(row.get("note", ""), _NOTES)
    if bought and money["paid"] is None:  # A day without a price stays in the note.
        note, bought = f"Bought on {bought}. {note}".strip(), ""
    return Row(
        title, clean(row.get("year", ""), 20), clean(row.get("form", ""), 60), money["paid"],
        clean(unit, 20), bought, grade, money["value"], clean(row.get("place", ""), 120), note,
    )  # fmt: skip


def drafts_of(item_id: str, row: Row) -> tuple[Draft, ...]:
    """The events that open an item from its row."""
    item = Item(row.title, row.year, row.form, notes=row.note)
    out = [Draft(item_id, "item.opened", to_body(item))]
    if row.paid is not None:
        cost = Cost("cost-2", "bought", row.paid, row.currency, row.day)
        out.append(Draft(item_id, "cost.noted", to_body(cost)))
    if row.place or row.value is not None:
        held = Holding(value_now=row.value, currency=row.currency, place=row.place)
        out.append(Draft(item_id, "holding.set", to_body(held)))
    if row.grade is not None:
        own = GradeEstimate("before", row.grade, by="own table")
        out.append(Draft(item_id, "grade.estimated", to_body(own)))
    return tuple(out)
