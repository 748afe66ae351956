"""Staple holes of all sheets as a table of text (CSV), read as hostile and written plainly.

Columns: ``wrap`` (c, or w01 and so on), ``hole`` (1.. from the head), ``x_mm`` from the fold to
the right, ``y_mm`` from the head edge down, ``u_mm`` (0 or empty: not known), ``hole_mm`` across (0
or empty: no slack known), ``state`` (empty: clean). Edges are optional: ``left_mm``, ``right_mm``
(x of the reading edges), ``head_mm``, ``tail_mm`` (y), once to a sheet or the same in all its rows;
a row without a hole holds edges only. Commas, semicolons or tabs; decimal points, or commas in
quotes. A line that begins with # is a remark.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from quirewell.science.booklet.holes import STATES, Edges, HoleAt, Sheet

COLUMNS = ("wrap", "hole", "x_mm", "y_mm", "u_mm", "hole_mm", "state")
EDGES = ("left_mm", "right_mm", "head_mm", "tail_mm")
NEEDED = ("wrap", "hole", "x_mm", "y_mm")
MOST_CHARACTERS = 1_000_000
MOST_HOLES = 18
# How far from the fold or the head a hole or an edge may lie, u and size of a hole [mm].
_RANGES = {"u_mm": (0.0, 5.0), "hole_mm": (0.0, 20.0)} | dict.fromkeys(
    ("x_mm", "y_mm", *EDGES), (-1000.0, 1000.0)
)
_NUMBER = re.compile(r"[-+]?(?:\d{1,12}(?:[.,]\d{0,20})?|[.,]\d{1,20})(?:[eE][-+]?\d{1,2})?")
_WRAP = re.compile(r"(?:w|wrap)?\s*0*([1-9]\d?)")


class HoleTableError(ValueError):
    """A table of holes that cannot be read; the message names the line and says what to write."""


@dataclass(slots=True)
class _Reading:
    """One sheet while it is read: holes with their lines, edges with theirs."""

    holes: dict[int, tuple[HoleAt, int]] = field(default_factory=dict)
    edges: dict[str, tuple[float, int]] = field(default_factory=dict)


def read_holes(text: str) -> list[Sheet]:
    """Sheets with their holes from a table, the cover first, then wraps from the outside.

    Raises:
        HoleTableError: in a sentence with the number of the line.

    >>> read_holes("wrap;hole;x_mm;y_mm\\nw1;1;0,1;60,2")[0].holes[0].y_mm
    60.2
    """
    rows = _rows(text)
    number, header = next(rows, (0, []))
    columns = _columns(header, number)
    found: dict[str, _Reading] = {}
    for line, cells in rows:
        if len(cells) != len(columns):
            raise HoleTableError(
                f"line {line} has {len(cells)} cells, the header {len(columns)}; put decimal "
                "commas in quotes, or part the cells with semicolons"
            )
        row = dict(zip(columns, (cell.strip() for cell in cells), strict=True))
        sheet = found.setdefault(_sheet(row["wrap"], line), _Reading())
        _edges(row, line, sheet)
        _hole(row, line, sheet)
    if not found:
        raise HoleTableError(
            f"the table holds no rows; its columns are {', '.join(COLUMNS)}, a row to each hole"
        )
    return [_made(name, found[name]) for name in sorted(found)]


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Rows that hold something, each with its line; a line that begins with # is a remark."""
    if len(text) > MOST_CHARACTERS:
        raise HoleTableError(
            f"the table holds {len(text)} characters; a table of holes has at most "
            f"{MOST_CHARACTERS}. Is it the right file?"
        )
    text = text.removeprefix("\ufeff").replace("\u2212", "-")
    if "\0" in text:
        raise HoleTableError("this is no text: save the table as CSV")
    lines = text.splitlines()
    first = next((one for one in lines if one.strip() and not one.lstrip().startswith("#")), "")
    delimiter = next((one for one in (";", "\t") if one in first), ",")
    reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                yield reader.line_num, cells
    except csv.Error as error:
        raise HoleTableError(
            f"line {reader.line_num} cannot be read ({error}); look for a quote that is not closed"
        ) from error


def _columns(header: list[str], line: int) -> list[str]:
    names = [cell.strip().lower() for cell in header]
    known = (*COLUMNS, *EDGES)
    for name in names:
        if name not in known:
            raise HoleTableError(
                f"line {line}: {name[:40]!r} is no column of holes; they are {', '.join(COLUMNS)}, "
                f"and for edges {', '.join(EDGES)}"
            )
        if names.count(name) > 1:
            raise HoleTableError(f"line {line}: the column {name} is there twice")
    for name in NEEDED:
        if name not in names:
            raise HoleTableError(
                f"the table needs a header with {', '.join(NEEDED)}; {name} is not there"
            )
    return names


def _sheet(text: str, line: int) -> str:
    name = text.lower()
    if name in ("c", "cover"):
        return "c"
    match = _WRAP.fullmatch(name)
    if match is None:
        raise HoleTableError(
            f"line {line}: {text[:40]!r} names no sheet; write c (cover) or w03 (wrap 3 from the "
            "outside)"
        )
    return f"w{int(match[1]):02d}"


def _number(row: dict[str, str], name: str, line: int) -> float | None:
    text = row.get(name, "")
    if not text:
        return None
    if not _NUMBER.fullmatch(text):
        raise HoleTableError(
            f"line {line}: {name} is {text[:40]!r}, which is no number; write millimetres as 60.2"
        )
    value = float(text.replace(",", "."))
    low, high = _RANGES[name]
    if not low <= value <= high:
        raise HoleTableError(
            f"line {line}: {name} lies between {low:g} and {high:g} mm, got {text[:40]}"
        )
    return value


def _edges(row: dict[str, str], line: int, sheet: _Reading) -> None:
    for name in EDGES:
        value = _number(row, name, line)
        if value is None:
            continue
        held, where = sheet.edges.setdefault(name, (value, line))
        if held != value:
            raise HoleTableError(
                f"line {line}: {name} is {value:g}, on line {where} it was {held:g}; a sheet has "
                "each edge once"
            )


def _hole(row: dict[str, str], line: int, sheet: _Reading) -> None:
    text = row["hole"]
    given = [name for name in COLUMNS[2:] if row.get(name)]
    if not text and not given:
        return
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= MOST_HOLES):
        raise HoleTableError(
            f"line {line}: holes are numbered 1 to {MOST_HOLES} from the head, got {text[:40]!r}"
        )
    number = int(text)
    if number in sheet.holes:
        raise HoleTableError(
            f"line {line}: hole {number} of {_sheet(row['wrap'], line)} was given on line "
            f"{sheet.holes[number][1]} already"
        )
    said = row.get("state", "").lower() or "clean"
    state = next((one for one in STATES if one == said), None)
    if state is None:
        raise HoleTableError(
            f"line {line}: a hole is {', '.join(STATES[:-1])} or {STATES[-1]}, got {said[:40]!r}"
        )
    x, y, u, size = (_number(row, name, line) for name in ("x_mm", "y_mm", "u_mm", "hole_mm"))
    if state != "missing" and (x is None or y is None):
        raise HoleTableError(
            f"line {line}: hole {number} needs x_mm and y_mm, or the state missing"
        )
    sheet.holes[number] = HoleAt(number, x, y, u or None, size or None, state), line


def _made(name: str, read: _Reading) -> Sheet:
    edges = {key: value for key, (value, _) in read.edges.items()}
    try:
        return Sheet(
            name,
            tuple(read.holes[number][0] for number in sorted(read.holes)),
            Edges(**edges) if edges else None,
        )
    except ValueError as error:
        line = max(line for _, line in read.edges.values())
        raise HoleTableError(f"line {line}: {error}") from error


def write_holes(sheets: Iterable[Sheet]) -> str:
    """The table of sheets, to a tenth of a micrometre; edge columns only where a sheet has edges.

    >>> print(write_holes([Sheet("c", (HoleAt(1, 0.1, 60.25),))]), end="")
    wrap,hole,x_mm,y_mm,u_mm,hole_mm,state
    c,1,0.1,60.25,,,clean
    """
    held = tuple(sheets)
    edged = any(sheet.edges for sheet in held)
    lines = [",".join((*COLUMNS, *(EDGES if edged else ())))]
    for sheet in held:
        rows = [
            [str(one.number), *map(_text, (one.x_mm, one.y_mm, one.u_mm, one.size_mm)), one.state]
            for one in sheet.holes
        ] or [["", "", "", "", "", ""]]
        edges = [""] * 4
        if sheet.edges is not None:
            edges = [_text(getattr(sheet.edges, name)) for name in EDGES]
        lines += [",".join((sheet.name, *row, *(edges if edged else ()))) for row in rows]
    return "\n".join(lines) + "\n"


def _text(value: float | None) -> str:
    return "" if value is None else f"{round(value, 4) + 0.0:.4f}".rstrip("0").rstrip(".")
