"""The condition drawing and its schedule by themselves, as a PDF to print."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from quirewell.record.nouns import ItemState
from quirewell.report.content import day
from quirewell.report.damage import condition_part, drawing_files
from quirewell.report.model import known_refs, settle
from quirewell.report.typeset import typeset

TEMPLATE = "drawing.typ"


def drawing_sheet(state: ItemState, at: datetime) -> bytes:
    """Schedule and drawing of an item as PDF.

    Raises:
        ReportError: the typesetter refused.
    """
    files: dict[str, bytes | Path] = {}
    body: dict[str, Any] = {
        "title": state.item.title, "year": state.item.year, "day": day(at.isoformat()),
    }  # fmt: skip
    for moment in ("before", "after"):
        body[moment] = condition_part(state, moment)
        files.update(drawing_files(state, moment))
    return typeset(TEMPLATE, settle(body, known_refs(state)).content, files, at)
