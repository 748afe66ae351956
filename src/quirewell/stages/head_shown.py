"""The photograph of the head with what was read in it drawn over, so that a person can judge."""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.stages.asking import ask

Line = tuple[float, float, float, float]
ROLE = "head"


@dataclass(frozen=True, slots=True)
class HeadShown:
    """Where the lines lie, in pixels of the picture: both long sides, the fore-edge, and the same
    as it would stand without a roll; two cut-outs as x, y, width, height."""

    sha256: str
    filename: str
    width: int
    height: int
    sides: tuple[Line, ...]
    end: Line
    square: Line
    whole: tuple[float, float, float, float]
    near: tuple[float, float, float, float]
    says: str


def head_shown(state: ItemState, run: Run | None) -> HeadShown | None:
    """What a run read in the photograph of the head; None where it had none."""
    given = (
        next((one for one in run.inputs if one.role == ROLE and one.sha256), None) if run else None
    )
    if run is None or given is None or "head.size" not in run.drawing:
        return None
    width, height = (int(one) for one in run.drawing["head.size"].split())
    sides = tuple(
        _line(run.drawing[name]) for name in sorted(run.drawing) if name.startswith("head.side")
    )
    end = _line(run.drawing["head.end"])
    roll = next(one for one in run.findings if one.quantity == "fold.roll_deg")
    return HeadShown(
        given.sha256 or "", given.ref, width, height, sides, end, _square(sides, end),
        _round([*sides, end], width, height, 0.6), _round([end], width, height, 1.2),
        ask(roll, run, state).said,
    )  # fmt: skip


def _line(text: str) -> Line:
    one, two = (point.split(",") for point in text.split())
    return float(one[0]), float(one[1]), float(two[0]), float(two[1])


def _square(sides: tuple[Line, ...], end: Line) -> Line:
    """Through the middle of the fore-edge, square to the middle of both long sides."""
    along = sum(math.atan((y2 - y1) / (x2 - x1)) for x1, y1, x2, y2 in sides) / len(sides)
    x, y = (end[0] + end[2]) / 2, (end[1] + end[3]) / 2
    half = 0.5 * math.hypot(end[2] - end[0], end[3] - end[1])
    return (
        x + half * math.sin(along), y - half * math.cos(along),
        x - half * math.sin(along), y + half * math.cos(along),
    )  # fmt: skip


def _round(
    lines: list[Line], width: int, height: int, by: float
) -> tuple[float, float, float, float]:
    """A cut-out round lines, wider all round by ``by`` of the fore-edge's length."""
    x = [value for line in lines for value in line[::2]]
    y = [value for line in lines for value in line[1::2]]
    margin = by * max(math.hypot(*(lines[-1][i + 2] - lines[-1][i] for i in (0, 1))), 8.0)
    left, top = max(0.0, min(x) - margin), max(0.0, min(y) - margin)
    right, low = min(float(width), max(x) + margin), min(float(height), max(y) + margin)
    return left, top, right - left, low - top
