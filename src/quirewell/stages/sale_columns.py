"""Columns of somebody's own table of sales, matched to the fields a value needs.

A proposal from headers and values, for a person to confirm or set right: "date=Sold on,
price=Hammer". Nothing is asked of the table but one header row.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from quirewell.stages.plain_table import MOST_CHARACTERS, TableError
from quirewell.stages.sale_cells import SIGNS, day, grade, money
from quirewell.stages.typed import Unreadable

FIELDS = ("date", "grade", "price", "currency", "fee", "note", "item")
NEEDED = ("grade", "price")
_CLUES: Mapping[str, re.Pattern[str]] = {
    "date": re.compile(r"date|\bday\b|\bwhen\b|sold on|datum|\byear\b", re.IGNORECASE),
    "grade": re.compile(r"grad|condition|\bcond\b|\bstate\b|zustand", re.IGNORECASE),
    "fee": re.compile(r"fee|commission|charge|premium|gebühr", re.IGNORECASE),
    "currency": re.compile(r"curr|\bccy\b|währung", re.IGNORECASE),
    "price": re.compile(
        r"price|sold for|hammer|amount|value|paid|realised|total|preis|\bsum\b", re.IGNORECASE
    ),
    "note": re.compile(r"note|remark|comment|where|source", re.IGNORECASE),
    "item": re.compile(r"item|title|name|object|\bwhat\b|description|issue|artikel", re.IGNORECASE),
}
_LOOKED_AT = 200


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it came: names of its columns, and rows with the number of their line."""

    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    def column(self, place: int) -> list[str]:
        """The cells of a column that hold anything."""
        return [cells[place] for _, cells in self.rows if cells[place]]


@dataclass(frozen=True, slots=True)
class Match:
    """A field, the column proposed for it (from 0), why, and other columns it could be as well."""

    field: str
    place: int
    why: str
    others: tuple[int, ...] = ()


def decode(data: bytes) -> str:
    """A table's text as spreadsheets export it: UTF-8, UTF-16 with its mark, else Western European.

    Raises:
        TableError: for what is no text, such as a spreadsheet's own file.

    >>> decode("Grad;80 €".encode("cp1252"))
    'Grad;80 €'
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    if b"\0" in data or data[:2] == b"PK":
        raise TableError("this is no text; save the table of sales as CSV")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def read_sheet(text: str) -> Sheet:
    """A table parted by commas, semicolons or tabs; a line that begins with # is a remark.

    Raises:
        TableError: in a sentence.
    """
    if len(text) > MOST_CHARACTERS:
        raise TableError(
            f"a table of sales has at most {MOST_CHARACTERS} characters, got {len(text)}; is it "
            "that?"
        )
    if "\0" in text:
        raise TableError("this is no text; save the table of sales as CSV")
    lines = text.removeprefix("\ufeff").splitlines()
    first = next((one for one in lines if one.strip() and not one.lstrip().startswith("#")), "")
    delimiter = next((one for one in (";", "\t") if one in first), ",")
    reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter, strict=True)
    header: tuple[str, ...] = ()
    rows = []
    try:
        for cells in reader:
            trimmed = tuple(cell.strip() for cell in cells)
            if not any(trimmed) or trimmed[0].startswith("#"):
                continue
            if not header:
                header = trimmed
            elif len(trimmed) > len(header) and any(trimmed[len(header) :]):
                raise TableError(
                    f"line {reader.line_num} has {len(trimmed)} cells, the header {len(header)}; "
                    "put decimal commas in quotes, or part the cells with semicolons"
                )
            else:
                short = (*trimmed, *[""] * len(header))[: len(header)]
                rows.append((reader.line_num, short))
    except csv.Error as error:
        raise TableError(
            f"line {reader.line_num} cannot be read ({error}); look for a quote that is not closed"
        ) from error
    if header and all(re.fullmatch(r"[\d.,\s]*", name) for name in header):
        raise TableError(
            f"the first row holds numbers and no names; put a header above it, such as "
            f"{', '.join(FIELDS[:4])}"
        )
    if not header or not rows:
        raise TableError(
            f"a table of sales has a header, such as {', '.join(FIELDS)}, and at least one row"
        )
    return Sheet(header, tuple(rows))


def propose(sheet: Sheet) -> tuple[Match, ...]:
    """Which column is which, by its name and, where names say nothing, by its values."""
    free = dict(enumerate(sheet.header))
    out: list[Match] = []
    for exact in (True, False):
        for field in ("date", "grade", "fee", "currency", "price", "note", "item"):
            if any(one.field == field for one in out):
                continue
            able = [
                place for place, name in free.items()
                if (name.lower() == field if exact
                    else _CLUES[field].search(name) and _fits(field, sheet, place))
            ]  # fmt: skip
            if able:
                why = f"by its name {sheet.header[able[0]][:40]!r}"
                out.append(Match(field, able[0], why, tuple(able[1:])))
                del free[able[0]]
    for field in ("date", "price", "grade"):
        if any(one.field == field for one in out):
            continue
        able = [place for place in free if _looks(field, sheet.column(place)[:_LOOKED_AT])]
        if len(able) == 1:
            out.append(Match(field, able[0], "by its values"))
            del free[able[0]]
    return tuple(sorted(out, key=lambda one: FIELDS.index(one.field)))


def _fits(field: str, sheet: Sheet, place: int) -> bool:
    """Whether values do not speak against a name."""
    cells = sheet.column(place)[:_LOOKED_AT]
    if field in ("note", "item", "currency") or not cells:
        return True
    return _share(field, cells) >= 0.5


def _looks(field: str, cells: Sequence[str]) -> bool:
    if len(cells) < 1 or _share(field, cells) < 0.9:
        return False
    if field == "price":
        return any(sign in cell for cell in cells for sign in SIGNS) or (
            _share("grade", cells) < 0.9 and _share("date", cells) < 0.9
        )
    if field == "grade":
        return not any(sign in cell for cell in cells for sign in SIGNS)
    return True


def _share(field: str, cells: Sequence[str]) -> float:
    return sum(_reads(field, cell) for cell in cells) / len(cells)


def _reads(field: str, cell: str) -> bool:
    try:
        if field == "date":
            day(cell, "dmy") if _first_small(cell) else day(cell, "mdy")
            return True
        if field == "grade":
            # What lies just above the scale is a slip to be named by its line, not another column.
            return grade(cell) <= 20
        money(cell, "," if cell.rfind(",") > cell.rfind(".") else ".")
    except Unreadable as error:
        return field in ("price", "fee") and "with a decimal" in str(error)
    return True


def _first_small(cell: str) -> bool:
    numbers = re.findall(r"\d+", cell)
    return len(numbers) < 2 or int(numbers[1][:4]) <= 12


def chosen(sheet: Sheet, told: str) -> dict[str, int]:
    """Places of fields: the proposal, with what a person told laid over it.

    ``told``: "date=Sold on, price=3, fee=none"; a column by name or by number from 1.

    Raises:
        TableError: for what names no field or no column, or where grade or price is not found.
    """
    found = propose(sheet)
    places = {one.field: one.place for one in found}
    names = [name.lower() for name in sheet.header]
    for part in filter(None, (one.strip() for one in told.split(","))):
        field, equals, column = (one.strip().lower() for one in part.partition("="))
        if not equals or field not in FIELDS:
            raise TableError(
                f"{part[:40]!r} matches no column; write date=Sold on, price=3 (fields: "
                f"{', '.join(FIELDS)})"
            )
        places.pop(field, None)
        if column == "none":
            continue
        if names.count(column) == 1:
            place = names.index(column)
        elif column.isdecimal() and 1 <= int(column[:4]) <= len(names):
            place = int(column[:4]) - 1
        else:
            raise TableError(
                f"there is no single column {column[:40]!r}; there are {', '.join(sheet.header)}"
            )
        places = {other: at for other, at in places.items() if at != place}
        places[field] = place
    for one in found:
        # Others may have been told to be something else, or the field itself was told.
        left = [place for place in one.others if place not in places.values()]
        if one.field in NEEDED and left and not re.search(rf"(^|,)\s*{one.field}\s*=", told):
            could = " or ".join(
                f"{sheet.header[place][:40]!r} (number {place + 1})" for place in (one.place, *left)
            )
            raise TableError(
                f"which column is the {one.field}: {could}? Say it as {one.field}=NUMBER "
                "(--columns)"
            )
    for field in NEEDED:
        if field not in places:
            raise TableError(
                f"which column is the {field}? There are {', '.join(sheet.header)}; say it as "
                f"{field}=NAME (--columns)"
            )
    return places
