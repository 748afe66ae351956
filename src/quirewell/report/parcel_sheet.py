"""A parcel's packing list and declared values: one printed sheet, or a table (CSV)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from quirewell.record.cells import guarded
from quirewell.report.typeset import typeset

TEMPLATE = "parcel.typ"


def sheet_pdf(sheet: Mapping[str, Any], at: datetime) -> bytes:
    """The sheet (:func:`quirewell.stages.parcel_lists.sheet_of`) as a page or more.

    Raises:
        ReportError: the typesetter refused.
    """
    return typeset(TEMPLATE, dict(sheet), {}, at)


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table for a spreadsheet, in which no cell can become a formula.

    >>> print(csv_text(["item"], [["=1+1"], ["Annual, 1936"]]).rstrip())
    item
    '=1+1
    "Annual, 1936"
    """
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(columns)
    table.writerows([plain_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def plain_cell(text: str) -> str:
    """A cell's text that a spreadsheet takes as text."""
    return guarded(text)
