"""The record as tables for people: CSV (RFC 4180) with CSVW metadata, and their reading back.

One table a collection of the record, made from the declared fields, and further ones for what
lies inside a run (inputs, findings, the terms of their budgets) and for before beside after.
A cell is the text of the record, exactly. Cells that begin with ``=``, ``+``, ``-``, ``@`` or a
tab are not altered either: the metadata types every column, and a spreadsheet is to import the
columns as text. What has parts of its own (a list, named entries) is JSON in one cell.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
import typing
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import IO, Any, get_args

from quirewell.record.apply import COLLECTIONS
from quirewell.record.canonical import canonical
from quirewell.record.finding import Finding, Input
from quirewell.record.measured import Term
from quirewell.record.nouns import Gathering, Item, ItemState

NOT_GIVEN = "\\N"  # an optional text that is not there, apart from one that is empty
_UNITS = {
    "mm": "mm", "px": "px", "dpi": "1/in", "c": "degree Celsius", "minutes": "min",
    "pct": "%", "bytes": "B", "bits": "bit",
}  # fmt: skip
_TYPES: dict[Any, str] = {str: "string", int: "integer", bool: "boolean", float: "number",
                          Decimal: "number"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, CSVW datatype, whether it may be empty, and its unit."""

    name: str
    datatype: str
    optional_text: bool = False
    unit: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its columns, the columns of its key, and the keys of others it names."""

    name: str
    says: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    foreign: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()


def _columns(cls: type, leave: tuple[str, ...] = ()) -> Iterator[Column]:
    hints = typing.get_type_hints(cls)
    for one in dataclasses.fields(cls):
        if one.name in leave:
            continue
        options = [entry for entry in get_args(hints[one.name]) if entry is not type(None)]
        optional = type(None) in get_args(hints[one.name])
        hint = options[0] if optional else hints[one.name]
        if typing.get_origin(hint) is typing.Literal:
            hint = str
        datatype = _TYPES.get(hint, "json")
        last = one.name.rpartition("_")[2]
        unit = _UNITS.get(last, "") if datatype in ("number", "integer") else ""
        yield Column(one.name, datatype, optional and datatype == "string", unit)


def _text(name: str) -> Column:
    return Column(name, "string", required=True)


_ITEM = _text("item")
_OF_ITEM = ((("item",), "items", ("item",)),)
_OF_RUN = (*_OF_ITEM, (("item", "run"), "runs", ("item", "record_id")))
_BOTH = ("before", "after")
_OWN_TABLES = ("inputs", "findings", "drawing")  # of a run; its drawing is in the record only


@cache
def schema() -> Mapping[str, Table]:
    """Every table by its name."""
    hints = typing.get_type_hints(ItemState)
    made = [
        Table("items", "one row an item, with how it is made", (
            _ITEM, Column("version", "integer"), *_columns(Item),
            *(dataclasses.replace(one, name=f"gathering_{one.name}") for one in
              _columns(Gathering)),
        ), ("item",)),
    ]  # fmt: skip
    for name in COLLECTIONS:
        cls = get_args(hints[name])[1]
        leave = _OWN_TABLES if name == "runs" else ()
        columns = (_ITEM, _text("record_id"), Column("place_in_order", "integer"),
                   *_columns(cls, leave))  # fmt: skip
        says = (cls.__doc__ or name).split("\n")[0].rstrip(".:")
        made.append(Table(name, says, columns, ("item", "record_id"), _OF_ITEM))
    number = Column("number", "integer", required=True)
    made += [
        Table("run_inputs", "what each computation was made from",
              (_ITEM, _text("run"), number, *_columns(Input)), ("item", "run", "number"), _OF_RUN),
        Table("findings", "every number and verdict that a computation left behind", (
            _ITEM, _text("run"), number, Column("method", "string"), Column("moment", "string"),
            *_columns(Finding, ("terms",)),
        ), ("item", "run", "number"), _OF_RUN),
        Table("terms", "the terms of each finding's uncertainty", (
            _ITEM, _text("run"), number, Column("term_number", "integer", required=True),
            *_columns(Term),
        ), ("item", "run", "number", "term_number"),
            (*_OF_RUN, (("item", "run", "number"), "findings", ("item", "run", "number")))),
        Table("before_after", "the same quantity of the same leaf, measured before and after", (
            _ITEM, _text("subject"), _text("quantity"), Column("unit", "string"),
            *(Column(f"{moment}_{part}", kind) for moment in _BOTH
              for part, kind in (("value", "number"), ("u", "number"), ("low90", "number"),
                                 ("high90", "number"), ("run", "string"))),
        ), ("item", "subject", "quantity"), _OF_ITEM),
    ]  # fmt: skip
    return {one.name: one for one in made}


# --- rows -------------------------------------------------------------------------------


def rows_of(state: ItemState, body: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row of every table that an item gives, as (table, values by column).

    ``body`` is the state as plain text (``codec.to_body``).
    """
    values: dict[str, Any] = {"item": state.id, "version": body["version"], **body["item"]}
    if state.gathering is not None:
        values |= {f"gathering_{k}": v for k, v in body["gathering"].items()}
    yield "items", values
    moments = {key: _moment(state, run) for key, run in body["runs"].items()}
    for name in COLLECTIONS:
        for order, (key, noun) in enumerate(body[name].items(), 1):
            row = {"item": state.id, "record_id": key, "place_in_order": str(order), **noun}
            if name == "runs":
                yield from _run_rows(state.id, key, noun, moments[key])
                row = {k: v for k, v in row.items() if k not in _OWN_TABLES}
            yield name, row
    yield from _before_after(state, body["runs"], moments)


def _moment(state: ItemState, run: Mapping[str, Any]) -> str:
    moments = {
        state.captures[one["ref"]].moment or ""
        for one in run["inputs"]
        if one["ref"] in state.captures
    }
    return moments.pop() if len(moments) == 1 else ""


def _run_rows(
    item: str, key: str, run: Mapping[str, Any], moment: str
) -> Iterator[tuple[str, dict[str, Any]]]:
    where = {"item": item, "run": key}
    for number, entry in enumerate(run["inputs"], 1):
        yield "run_inputs", {**where, "number": str(number), **entry}
    for number, entry in enumerate(run["findings"], 1):
        own = {k: v for k, v in entry.items() if k != "terms"}
        about = {"number": str(number), "method": run["method"], "moment": moment}
        yield "findings", {**where, **about, **own}
        for which, term in enumerate(entry["terms"], 1):
            yield "terms", {**where, "number": str(number), "term_number": str(which), **term}


def _before_after(
    state: ItemState, runs: Mapping[str, Any], moments: Mapping[str, str]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """The newest number of each quantity of a subject, of runs on pictures of one moment."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    parts = ("value", "u", "low90", "high90")
    for key in sorted(runs, key=lambda key: state.touched.get(key, 0)):
        moment = moments[key]
        for one in runs[key]["findings"] if moment else ():
            if "value" in one:
                row = found.setdefault((one["subject"], one["quantity"]), {})
                row |= {"unit": one["unit"], f"{moment}_run": key}
                row |= {f"{moment}_{part}": one.get(part) for part in parts}
    for (subject, quantity), row in found.items():
        if all(f"{moment}_value" in row for moment in _BOTH):
            yield "before_after", {
                "item": state.id, "subject": subject, "quantity": quantity, **row,
            }  # fmt: skip


# --- cells ------------------------------------------------------------------------------


def cell_of(column: Column, value: Any) -> str:
    """The text of a cell; a missing value is empty, or ``\\N`` where empty would say else."""
    if value is None:
        return NOT_GIVEN if column.optional_text else ""
    if column.datatype == "json":
        return canonical(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    if column.optional_text and re.fullmatch(r"\\+N", text):
        return "\\" + text
    return text


def value_of(column: Column, cell: str) -> Any:
    """The value that a cell holds, as the record has it (numbers as decimal text)."""
    if column.optional_text:
        if cell == NOT_GIVEN:
            return None
        return cell[1:] if re.fullmatch(r"\\\\+N", cell) else cell
    if column.datatype == "string":
        return cell
    if not cell:
        return None
    if column.datatype == "json":
        return json.loads(cell)
    if column.datatype == "boolean":
        return cell == "true"
    return cell


def csv_line(cells: Iterable[str]) -> str:
    """One line of CSV as RFC 4180 has it, with CR and LF at its end."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue()


def row_line(table: Table, row: Mapping[str, Any]) -> str:
    """The line of a row."""
    unknown = set(row) - {column.name for column in table.columns}
    if unknown:
        raise ValueError(f"the table {table.name} has no column {unknown.pop()!r}")
    return csv_line(cell_of(column, row.get(column.name)) for column in table.columns)


def head_line(table: Table) -> str:
    """The line with the names of the columns."""
    return csv_line(column.name for column in table.columns)


def read_rows(stream: IO[bytes]) -> Iterator[dict[str, str]]:
    """The cells of a table, exactly as they were written.

    Raises:
        ValueError: a row with other than the columns of the head line, or no UTF-8.
    """
    csv.field_size_limit(64 << 20)
    with io.TextIOWrapper(stream, encoding="utf-8", newline="") as text:
        try:
            reader = csv.reader(text, strict=True)
            head = next(reader, [])
            for row in reader:
                if len(row) != len(head):
                    raise ValueError(f"line {reader.line_num} has {len(row)} cells")
                yield dict(zip(head, row, strict=True))
        except csv.Error as error:
            raise ValueError(f"it is no CSV ({error})") from error
        except UnicodeDecodeError as error:
            raise ValueError("it is no text (UTF-8)") from error


# --- metadata ---------------------------------------------------------------------------


def metadata(tables: Iterable[Table]) -> dict[str, Any]:
    """CSVW metadata (W3C, Metadata Vocabulary for Tabular Data) of a group of tables."""
    made = list(tables)
    names = {table.name for table in made}
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:title": "The record as tables",
        "dc:description": (
            "Cells hold the record's own text. Import every column as text: a cell may begin "
            "with =, +, - or @ and is no formula."
        ),
        "dialect": {"lineTerminators": ["\r\n"], "quoteChar": '"', "doubleQuote": True},
        "tables": [_table_said(table, names) for table in made],
    }


def _table_said(table: Table, names: set[str]) -> dict[str, Any]:
    schema_said: dict[str, Any] = {
        "columns": [_column_said(column) for column in table.columns],
        "primaryKey": list(table.key),
    }
    foreign = [
        {"columnReference": list(own),
         "reference": {"resource": f"{other}.csv", "columnReference": list(theirs)}}
        for own, other, theirs in table.foreign if other in names
    ]  # fmt: skip
    if foreign:
        schema_said["foreignKeys"] = foreign
    return {"url": f"{table.name}.csv", "dc:description": table.says, "tableSchema": schema_said}


def _column_said(column: Column) -> dict[str, Any]:
    said: dict[str, Any] = {"name": column.name, "titles": column.name,
                            "datatype": column.datatype}  # fmt: skip
    if column.optional_text:
        said["null"] = NOT_GIVEN
    if column.unit:
        said["schema:unitText"] = column.unit
    if column.required:
        said["required"] = True
    return said
