"""Columns of somebody's own table matched to fields, shown for a person to set right.

What a column was taken for is a proposal until the form comes back with it; decimals and the order
of dates are told from the whole column, and asked for where they could be read two ways.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from quirewell.stages import sale_cells
from quirewell.stages.plain_table import TableError
from quirewell.stages.refusal import Problem
from quirewell.stages.sale_columns import Sheet, decode, read_sheet
from quirewell.stages.typed import Unreadable

MOST_ROWS = 2000
MOST_COLUMNS = 60
TABLE_BYTES = 2 * 1024**2
_EXAMPLES = 3
# Field and column, with the reason in words.
Propose = Callable[[Sheet], Mapping[str, tuple[int, str]]]


@dataclass(frozen=True, slots=True)
class Column:
    """A column as a page shows it: its name, a few of its cells, the field it was taken for."""

    place: int
    name: str
    examples: str
    field: str
    why: str


@dataclass(frozen=True, slots=True)
class Aside:
    """A row that is not taken in, and why."""

    line: int
    says: str


@dataclass(frozen=True, slots=True)
class Matched:
    """A table with its fields placed, and how its numbers and dates are written."""

    sheet: Sheet
    places: Mapping[str, int]
    columns: tuple[Column, ...]
    decimal: str
    order: str
    problems: tuple[Problem, ...]

    def cells(self, row: Sequence[str]) -> dict[str, str]:
        """The cells of a row by field."""
        return {field: row[place] for field, place in self.places.items()}


def table_text(data: bytes) -> str:
    """The text of an uploaded table.

    Raises:
        TableError: too large, or no text.
    """
    if len(data) > TABLE_BYTES:
        raise TableError(
            f"the table has {len(data) >> 20} MB; a table has at most {TABLE_BYTES >> 20} MB, "
            f"which is more than {MOST_ROWS} rows"
        )
    if data[:2] == b"PK" or data[:4] == b"\xd0\xcf\x11\xe0":
        raise TableError(
            "this is a spreadsheet's own file; open it there, save it as CSV (Save as, kind: "
            "CSV or text), and choose that file"
        )
    return decode(data)


def match(
    text: str, form: Mapping[str, str], propose: Propose, needed: Mapping[str, str]
) -> Matched:
    """Place the fields of a table: as the form says (``col.0`` ...), else as proposed.

    ``needed`` are fields without which nothing can be taken in, with the words for them.

    Raises:
        TableError: no table, or one that is too long.
    """
    sheet = read_sheet(text)
    if len(sheet.rows) > MOST_ROWS:
        raise TableError(
            f"the table has {len(sheet.rows)} rows; at most {MOST_ROWS} are taken in at once, so "
            "part it"
        )
    if len(sheet.header) > MOST_COLUMNS:
        raise TableError(
            f"the table has {len(sheet.header)} columns; keep at most {MOST_COLUMNS} of them"
        )
    problems: list[Problem] = []
    told = {name: field for name, field in form.items() if name.startswith("col.")}
    proposed = propose(sheet)
    why = dict(proposed.values())
    places = {field: place for field, (place, _) in proposed.items()}
    if told:
        places, why = {}, {}
        for place in range(len(sheet.header)):
            field = told.get(f"col.{place}", "")
            if field and field in places:
                says = f"Two columns are taken for the {field}; choose one of them."
                problems.append(Problem(f"col.{place}", says))
            elif field:
                places[field], why[place] = place, "as you said"
    for field, words in needed.items():
        if field not in places:
            problems.append(Problem("columns", f"Say which column is {words}."))
    by_place = {place: field for field, place in places.items()}
    columns = tuple(
        Column(place, name or f"column {place + 1}", _examples(sheet, place),
               by_place.get(place, ""), why.get(place, ""))
        for place, name in enumerate(sheet.header)
    )  # fmt: skip
    decimal, order, more = _signs(sheet, places, form)
    return Matched(sheet, places, columns, decimal, order, (*problems, *more))


def _examples(sheet: Sheet, place: int) -> str:
    return "; ".join(cell[:30] for cell in sheet.column(place)[:_EXAMPLES])


def _signs(
    sheet: Sheet, places: Mapping[str, int], form: Mapping[str, str]
) -> tuple[str, str, tuple[Problem, ...]]:
    problems = []
    decimal = {"point": ".", "comma": ","}.get(form.get("decimal", ""), "")
    money = [
        cell for field in ("price", "paid", "fee", "value") if field in places
        for cell in sheet.column(places[field]) if _is_money(cell)
    ]  # fmt: skip
    if not decimal and money:
        try:
            decimal = sale_cells.decimal_sign(money)
        except Unreadable as error:
            problems.append(Problem("decimal", f"In the amounts {error}, or choose here."))
        else:
            if not decimal:
                says = "Amounts can be read two ways: say whether decimals have a point or a comma."
                problems.append(Problem("decimal", says))
    order = form.get("days", "") if form.get("days", "") in ("dmy", "mdy") else ""
    if not order and "date" in places:
        try:
            order = sale_cells.day_order(sheet.column(places["date"]))
        except Unreadable as error:
            problems.append(Problem("days", f"In the dates {error}, or choose here."))
        else:
            if not order:
                says = "Dates can be read two ways: say whether the day or the month comes first."
                problems.append(Problem("days", says))
    return decimal, order, tuple(problems)


def _is_money(cell: str) -> bool:
    """Whether a cell can say how amounts are written: one that is no amount at all cannot."""
    return not cell.endswith("%") and cell.strip("-+ ")[:1] not in ("", "=", "@")


def told_columns(seen: Matched, text: str, fields: Sequence[str]) -> dict[str, str]:
    """The form that lays what a person said ("price=Hammer, fee=none, date=3") over a proposal.

    Raises:
        TableError: for what names no field or no single column.
    """
    form = {f"col.{one.place}": one.field for one in seen.columns}
    names = [one.name.lower() for one in seen.columns]
    for part in filter(None, (one.strip() for one in text.split(","))):
        field, equals, column = (one.strip() for one in part.partition("="))
        if not equals or field not in fields:
            known = ", ".join(name for name in fields if name)
            raise TableError(f"{part[:40]!r} matches no column; write FIELD=COLUMN with {known}")
        form = {key: "" if held == field else held for key, held in form.items()}
        if column.lower() == "none":
            continue
        if names.count(column.lower()) == 1:
            place = names.index(column.lower())
        elif column.isdecimal() and 1 <= int(column[:4]) <= len(names):
            place = int(column[:4]) - 1
        else:
            there = ", ".join(one.name for one in seen.columns)
            raise TableError(f"there is no single column {column[:40]!r}; there are {there}")
        form[f"col.{place}"] = field
    return form
