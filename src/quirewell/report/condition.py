"""One printed page from one photograph: the condition as received, with room to write."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

from quirewell.record.nouns import Capture, ItemState
from quirewell.report import plates
from quirewell.report.content import day
from quirewell.report.model import known_refs, settle
from quirewell.report.plates import Loader
from quirewell.report.typeset import typeset
from quirewell.stages.naming import place_words

TEMPLATE = "condition.typ"
MOST_ROWS = 9
PHOTO_PX = 1100
ASKS = (
    "Spine and folds", "Staples", "Cover", "Edges and corners", "Stains, tidelines",
    "Tears and losses", "Mould, insects, smell", "Loose parts", "Earlier repairs",
)  # fmt: skip
LAST_LINE = "Examined by, date, light"


def condition_sheet(
    state: ItemState,
    head: str,
    at: datetime,
    path_of: Callable[[str], Path],
    load: Loader = plates.load_sample,
) -> bytes:
    """The condition page of an item as PDF; needs no gathering and no measurement.

    Raises:
        ReportError: the typesetter refused.
    """
    picture = best_photograph(state)
    files: dict[str, bytes | Path] = {}
    if picture is not None:
        files["photo.jpg"] = plates.photograph(picture, path_of, PHOTO_PX, load)
    said = settle(_content(state, head, at, picture), known_refs(state))
    return typeset(TEMPLATE, said.content, files, at)


def best_photograph(state: ItemState) -> Capture | None:
    """The picture that stands for the item: the front before treatment, or the nearest to it."""

    def rank(capture: Capture) -> tuple[bool, ...]:
        return (
            (capture.moment or "before") != "before",
            capture.view != "front",
            capture.view == "scan",
            not capture.place.startswith("c.outer"),
        )

    return min(state.captures.values(), key=rank, default=None)


def _content(state: ItemState, head: str, at: datetime, picture: Capture | None) -> dict[str, Any]:
    item = state.item
    found = [entry for entry in state.defects.values() if entry.moment == "before"]
    rows = [
        [
            place_words(entry.place), _short(entry.term, 40), entry.severity,
            _short("; ".join(part for part in (entry.extent, entry.note) if part), 90),
        ]
        for entry in found[:MOST_ROWS]
    ]  # fmt: skip
    more = len(found) - MOST_ROWS
    about = (item.year, item.form, f"owner {item.owner}" if item.owner else "", day(at.isoformat()))
    return {
        "title": item.title,
        "about": " · ".join(part for part in about if part),
        "record": state.id,
        "head": head[:16],
        "photo": "photo.jpg" if picture else "",
        "photo_alt": f"Photograph of {item.title} as received" if picture else "",
        "photo_says": picture.filename if picture else "",
        "rows": rows,
        "more": f"And {more} more in the record." if more > 0 else "",
        "asks": list(ASKS),
        "last": LAST_LINE,
    }


def _short(words: str, most: int) -> str:
    """Words cut to what the page holds; the record holds them all."""
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"
