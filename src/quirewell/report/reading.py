"""The treatment report as a page to be asked: its own content, each number and each sentence with
the source it came from. Nothing is said here that the report does not say."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from quirewell.record.nouns import Capture, ItemState
from quirewell.report.in_short import in_short
from quirewell.report.plates import Plate
from quirewell.report.reading_parts import CHAPTERS, HEADING, JOURNAL, OPENED, PARTS
from quirewell.report.reading_shape import Block, Chapter, anything
from quirewell.report.treatment import (
    Head,
    Pictures,
    item_photographs,
    photograph_words,
    plate_entry,
    report_body,
)
from quirewell.stages.results import PageResult, page_results


def reading(state: ItemState, head: Head) -> tuple[Chapter, ...]:
    """The report's chapters as blocks of linked cells; no picture is made for it."""
    body = report_body(state, head, named_pictures(state))
    return chapters_of({"short": in_short(state), **body}, state)


def chapters_of(body: dict[str, Any], state: ItemState) -> tuple[Chapter, ...]:
    """The chapters of a report's content; empty ones are left out."""
    parts, blocks = dict(paths(body)), dict[str, list[Block]]()
    for part in PARTS:
        if part.path in parts:
            held = part.render(parts.pop(part.path), state)
            blocks.setdefault(part.chapter, []).extend(held)
    for path, value in parts.items():
        blocks.setdefault("more", []).extend(anything(value, JOURNAL, path))
    return tuple(
        Chapter(key, title, tuple(blocks[key]))
        for key, title in CHAPTERS.items()
        if blocks.get(key)
    )


def paths(body: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Every part of the content by its path, the page's heading left out."""
    for key, value in body.items():
        if key in OPENED:
            for name, part in value.items():
                yield f"{key}.{name}", part
        elif key not in HEADING:
            yield key, value


def named_pictures(state: ItemState) -> Pictures:
    """The report's pictures by name and hash, none of them cut or written."""
    photographs = [
        {
            "file": "", "moment": one.moment or "", "says": photograph_words(one), "alt": "",
            "capture": one.id, "sha256": one.sha256,
        }
        for one in item_photographs(state)
    ]  # fmt: skip
    plates = [_plate(result, state) for result in page_results(state)]
    return Pictures({}, photographs, plates, [])


def _plate(result: PageResult, state: ItemState) -> dict[str, Any]:
    empty = Plate(result.place, result.name, None, None, 0.0, 1.0, False)
    shots = tuple(
        (capture.sha256, capture.id, f"{result.name}, {moment} treatment")
        for moment in ("before", "after")
        if (capture := _capture(result, moment, state)) is not None
    )
    return {
        **plate_entry(empty, "", {}, result),
        "place": result.place if result.pair is not None else "",
        "shots": shots,
    }


def _capture(result: PageResult, moment: str, state: ItemState) -> Capture | None:
    run = result.before if moment == "before" else result.after
    refs = [entry.ref for entry in run.inputs] if run else []
    return next((state.captures[ref] for ref in refs if ref in state.captures), None)
