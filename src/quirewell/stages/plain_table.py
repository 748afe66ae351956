"""A small table of text (CSV), read as hostile: known columns, numbers in range, lines named.

Commas, semicolons or tabs between cells; decimal points, or commas in quotes or between semicolons.
A line that begins with # is a remark.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence

from quirewell.record.cells import unguarded

MOST_CHARACTERS = 200_000
_NUMBER = re.compile(r"[-+]?(?:\d{1,9}(?:[.,]\d{0,15})?|[.,]\d{1,15})")


class TableError(ValueError):
    """A table that cannot be read; the message names the line and says what to write."""


def read_rows(
    text: str, known: Sequence[str], needed: Sequence[str], what: str
) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows of a table with the number of their line, cells by column.

    Raises:
        TableError: in a sentence; ``what`` names the table ("a table of widths").

    >>> list(read_rows("wrap;width_mm\\nw01;368,2", ("wrap", "width_mm"), ("wrap",), "a table"))
    [(2, {'wrap': 'w01', 'width_mm': '368,2'})]
    """
    if len(text) > MOST_CHARACTERS:
        raise TableError(
            f"{what} has at most {MOST_CHARACTERS} characters, got {len(text)}; is it that?"
        )
    text = text.removeprefix("\ufeff").replace("\u2212", "-")
    if "\0" in text:
        raise TableError(f"this is no text; save {what} as CSV")
    lines = text.splitlines()
    first = next((one for one in lines if one.strip() and not one.lstrip().startswith("#")), "")
    delimiter = next((one for one in (";", "\t") if one in first), ",")
    reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter, strict=True)
    columns: list[str] = []
    seen = 0
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            trimmed = [unguarded(cell.strip()) for cell in cells]
            line = reader.line_num
            if not columns:
                columns = _columns(trimmed, known, needed, what)
                continue
            if len(trimmed) != len(columns):
                raise TableError(
                    f"line {line} has {len(trimmed)} cells, the header {len(columns)}; put decimal "
                    "commas in quotes, or part the cells with semicolons"
                )
            seen += 1
            yield line, dict(zip(columns, trimmed, strict=True))
    except csv.Error as error:
        raise TableError(
            f"line {reader.line_num} cannot be read ({error}); look for a quote that is not closed"
        ) from error
    if not seen:
        raise TableError(f"{what} has the columns {', '.join(known)} and at least one row")


def _columns(
    header: list[str], known: Sequence[str], needed: Sequence[str], what: str
) -> list[str]:
    names = [cell.lower() for cell in header]
    for name in names:
        if name not in known:
            raise TableError(f"{name[:40]!r} is no column of {what}; they are {', '.join(known)}")
        if names.count(name) > 1:
            raise TableError(f"the column {name} is there twice")
    for name in needed:
        if name not in names:
            raise TableError(f"{what} needs a header with {', '.join(needed)}; {name} is not there")
    return names


def millimetres(row: dict[str, str], name: str, line: int, low: float, high: float) -> float | None:
    """A cell as a number of millimetres; None where it is empty or there is no such column.

    Raises:
        TableError: for what is no number, or outside ``low`` to ``high``.
    """
    text = row.get(name, "")
    if not text:
        return None
    if not _NUMBER.fullmatch(text):
        raise TableError(
            f"line {line}: {name} is {text[:40]!r}, which is no number; write millimetres as 368.2"
        )
    value = float(text.replace(",", "."))
    if not low <= value <= high:
        raise TableError(
            f"line {line}: {name} lies between {low:g} and {high:g} mm, got {text[:40]}"
        )
    return value
