"""Stains of a measured picture as shapes on the page, told apart by their form.

A tideline is long and narrow, a spot small and round, anything else a stain: the rule of
:mod:`quirewell.science.imaging.stains`, here on the rims that its run drew.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Run
from quirewell.record.shapes import Point, area_px, read_points
from quirewell.science.imaging.stains import CELL_MM, SPOT_MM2
from quirewell.stages.page_frame import PageFrame
from quirewell.stages.region_extent import across

Array = NDArray[np.float64]
_TIDE_MM, _TIDE_WIDE_MM, _TIDE_TURNS, _COMPACT = 25.0, 6.0, 1.5, 0.35


@dataclass(frozen=True, slots=True)
class StainShape:
    """One stain: "spot", "tideline" or "stain", its rim and area on the page [mm, mm2]."""

    kind: str
    outline: tuple[Point, ...]
    area_mm2: float


def stain_shapes(run: Run, frame: PageFrame) -> tuple[StainShape, ...]:
    """Stains that a measurement drew, largest first."""
    found = []
    for text in run.drawing.get("stains", "").split(";"):
        points = read_points(text)
        if len(points) > 2:
            outline = frame.mm(points)
            if area_px(outline) > 0.01:
                found.append(_shape(outline, _cell(run)))
    return tuple(found)


def _cell(run: Run) -> float:
    """Side of a cell in which stains were looked for [mm]."""
    px = next((f.value for f in run.findings if f.quantity == "scale.um_per_px"), None)
    return max(CELL_MM, (px or 0.0) / 1000)


def _shape(outline: tuple[Point, ...], cell: float) -> StainShape:
    # The rim runs through the middles of the outermost cells, half a cell inside.
    at = np.array(outline)
    rim = float(np.linalg.norm(np.roll(at, -1, axis=0) - at, axis=1).sum())
    half = cell / 2
    area = area_px(outline) + half * rim + math.pi * half**2
    span = across(outline) + cell
    wide, long = 2 * area / (rim + math.pi * cell), rim / 2 + half * math.pi
    outline = _grown(at, half)
    area = area_px(outline)
    if wide <= _TIDE_WIDE_MM and span >= _TIDE_MM and long <= _TIDE_TURNS * span:
        return StainShape("tideline", outline, area)
    box = float(np.ptp(at, axis=0).max()) + cell
    if area <= SPOT_MM2 and area >= _COMPACT * box**2 * math.pi / 4:
        return StainShape("spot", outline, area)
    return StainShape("stain", outline, area)


def _grown(at: Array, by: float) -> tuple[Point, ...]:
    """An outline moved outwards by a little, point by point."""
    after, before = np.roll(at, -1, axis=0) - at, at - np.roll(at, 1, axis=0)
    ways = [way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
            for way in (before, after)]  # fmt: skip
    x, y = at.T
    turn = float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    sign = 1.0 if turn > 0 else -1.0
    out = sum(np.column_stack([way[:, 1], -way[:, 0]]) for way in ways) * sign
    size = np.linalg.norm(out, axis=1, keepdims=True)
    # At the end of a line drawn there and back the way on is outwards.
    out = np.where(size > 0.3, 2 * out / np.maximum(size, 0.3) ** 2, ways[0])
    long = np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)
    out *= np.minimum(1.0, 2.0 / long)
    return tuple((float(px), float(py)) for px, py in at + by * out)
