"""Condition in the report: the schedule of defects, the drawing of every side, sums by word."""

from __future__ import annotations

import re
import textwrap
from typing import Any

from quirewell.record.nouns import GradeEstimate, ItemState
from quirewell.report.condition_drawing import (
    Drawing,
    Side,
    condition_drawing,
    numbers_words,
    scale_of,
    side_svg,
    side_words,
)
from quirewell.report.hatches import STYLES, key_svg
from quirewell.report.model import typed
from quirewell.stages.damage_schedule import TYPED, Line, Sum, extent_words, schedule, sums
from quirewell.stages.drawn_extent import Extent
from quirewell.stages.results import Shown

# Quantities of numbers that stand in a defect's own record; recheck reads them there again.
DRAWN, NOTED, NUMBERED = "defect.drawn", "defect.noted", "defect.number"
# A note longer than this stands below the table, where it has the whole width.
MOST_NOTE = 400
SMALL_COLUMNS, MANY_COLUMNS, PAGE_MM = 4, 6, 164.0


def condition_part(state: ItemState, moment: str) -> dict[str, Any]:
    """Defects as noted at a moment, numbered, drawn and added up, and the owner's estimate."""
    lines = [one for one in schedule(state) if one.moment == moment]
    drawing = condition_drawing(state, moment, lines)
    return {
        "rows": [_row(line) for line in lines],
        "notes": [
            [str(one.number), parted(one.note)] for one in lines if len(one.note) > MOST_NOTE
        ],
        "sums": [_sum(one) for one in sums(lines)] if any(one.measured for one in lines) else [],
        "drawn": _drawn(drawing, moment),
        "grade": _grade(state.grades.get(f"grade.{moment}")),
    }


def drawing_files(state: ItemState, moment: str) -> dict[str, bytes]:
    """The pictures that :func:`condition_part` names."""
    drawing = condition_drawing(state, moment)
    if not drawing.damaged:
        return {}
    small = _small_scale(drawing)
    out = {f"damage-key-{moment}.svg": key_svg(drawing.families).encode()}
    for at, side in enumerate(drawing.sides):
        out[f"damage-small-{moment}-{at}.svg"] = side_svg(side, small, False, f"s{at}-").encode()
    for at, side in enumerate(drawing.damaged):
        name = f"damage-large-{moment}-{at}.svg"
        out[name] = side_svg(side, scale_of(side), True, f"l{at}-").encode()
    return out


def _row(line: Line) -> list[Any]:
    return [
        str(line.number), line.where, typed(parted(line.term), line.id), line.severity, said(line),
        parted(line.extent),
        parted(line.note) if len(line.note) <= MOST_NOTE else "its note stands below the table",
        "" if line.source == TYPED else line.source,
    ]  # fmt: skip


def parted(words: str) -> str:
    """Words that a narrow column can hold: very long ones may be parted (by soft hyphens).

    >>> parted("short") == "short", parted("x" * 42).count("\u00ad")
    (True, 2)
    """
    return re.sub(r"\S{30,}", lambda found: "\u00ad".join(textwrap.wrap(found[0], 14)), words)


def said(line: Line) -> Shown:
    """The measured extent of a line, with the defect it stands in."""
    if not line.measured:
        return Shown("", ())
    first = line.measured[0]
    words = line.said.replace(" %", " % of the page", 1)
    return Shown(words, (line.id,), DRAWN, first.value, first.u, first.unit)


def _sum(one: Sum) -> list[Any]:
    count = len(one.ids)
    drawn = [_added(extent, ids) for extent, ids in one.drawn]
    return [
        parted(one.term),
        Shown(str(count), one.ids, NOTED, float(count)),
        drawn[0] if drawn else "",
        drawn[1] if len(drawn) > 1 else "",
        f"{one.in_words} without a measure" if one.in_words else "",
    ]


def _added(extent: Extent, ids: tuple[str, ...]) -> Shown:
    return Shown(extent_words(extent), ids, DRAWN, extent.value, extent.u, extent.unit)


def _drawn(drawing: Drawing, moment: str) -> dict[str, Any]:
    if not drawing.damaged:
        return {}
    small = _small_scale(drawing)
    lines = [line for side in drawing.sides for line in side.lines]
    ids = {line.number: line.id for line in lines}
    return {
        "key": f"damage-key-{moment}.svg",
        "key_alt": "Key: " + "; ".join(STYLES[family].says for family in drawing.families),
        "columns": str(_columns(drawing)),
        "scale": f"{small:.1f}",
        "small": [
            {
                "file": f"damage-small-{moment}-{at}.svg",
                "alt": side_words(side),
                "name": side.name.split(":")[0],
                "numbers": _numbers(side.numbers, ids),
            }
            for at, side in enumerate(drawing.sides)
        ],
        "large": [
            {
                "file": f"damage-large-{moment}-{at}.svg",
                "alt": side_words(side),
                "name": side.name,
                "says": Shown(_said(side), side.refs, "size") if side.refs else _said(side),
                "beside": _beside(side.beside),
                "figures": [[_numbered(one.line)] for one in side.damage],
            }
            for at, side in enumerate(drawing.damaged)
        ],
        "elsewhere": _beside(drawing.elsewhere),
    }


def _said(side: Side) -> str:
    size = f"size {side.by}" if side.by else "its size is not known, so the outline is a guess"
    out = f"Drawn 1 : {scale_of(side):g}; {size}."
    if side.beyond:
        beyond = numbers_words(side.beyond)
        out += f" Drawn beyond the outline: {beyond}; the size or the place is off."
    return out


def _numbers(numbers: tuple[int, ...], ids: dict[int, str]) -> Shown:
    """Numbers of the schedule drawn on a side, with the defects they stand for."""
    return Shown(numbers_words(numbers), tuple(ids[one] for one in numbers), NUMBERED)


def _numbered(line: Line) -> Shown:
    return Shown(str(line.number), (line.id,), NUMBERED)


def _beside(lines: tuple[Line, ...]) -> Shown:
    says = "; ".join(f"{one.number} {one.term} ({one.where})" for one in lines)
    return typed(says, *(one.id for one in lines))


def _columns(drawing: Drawing) -> int:
    return SMALL_COLUMNS if len(drawing.sides) <= 24 else MANY_COLUMNS


def _small_scale(drawing: Drawing) -> float:
    """The scale at which all sides go beside each other in as many columns as there are."""
    room = PAGE_MM / _columns(drawing) - 4.0
    return max(side.width_mm for side in drawing.sides) / room


def _grade(grade: GradeEstimate | None) -> list[Any]:
    if grade is None:
        return []
    by = f"by {grade.by}" if grade.by else "by the owner"
    number: Any = ""
    ref = f"grade.{grade.moment}"
    if grade.value is not None:
        number = Shown(f"{grade.value} of 10", (ref,), "record:value", float(grade.value))
    return [number, typed(grade.words, ref), by]
