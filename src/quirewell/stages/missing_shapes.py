"""Missing paper of a measured picture as shapes on the page: the fitted outline less the paper.

The run gives the total to a quarter of a pixel; the shapes come from the rim it drew and share
that total out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Run
from quirewell.record.shapes import Point, read_points
from quirewell.stages.page_frame import PageFrame

# Boxes of the run stand this far outside their piece on every side.
_PAD_MM = 3.0
_CELL_MM = 0.1
_ROUGH_MM = 0.4
_LEAST_MM2 = 0.5
_AGREE = 1.25
_RIM_U_MM, _BOX_U_MM = 0.3, 1.0


@dataclass(frozen=True, slots=True)
class MissingShape:
    """A piece that is missing: its outline [mm], how well its points lie [mm], and its share of
    all that is missing (None where only the box round it is known)."""

    outline: tuple[Point, ...]
    share: float | None
    u_mm: float


def missing_shapes(run: Run, frame: PageFrame) -> tuple[MissingShape, ...]:
    """Missing pieces that a measurement drew, largest first; boxes last."""
    limits = frame.mm(read_points(run.drawing.get("outline", "")))
    paper = frame.mm(read_points(run.drawing.get("paper", "")))
    if len(limits) != 4 or len(paper) < 3:
        return ()
    found: list[tuple[tuple[Point, ...], float]] = []
    boxes = []
    for text in run.drawing.get("losses", "").split():
        x0, y0, x1, y1 = (float(part) for part in text.split(",")[:4])
        corners = np.array(frame.mm([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))
        low, high = corners.min(axis=0) + _PAD_MM, corners.max(axis=0) - _PAD_MM
        pieces = _pieces(limits, paper, low - 1.0, high + 1.0)
        # A box is that of one piece; others in it have a box of their own, or are too shallow.
        fresh = [one for one in pieces if not any(_same(one[0], other) for other, _ in found)]
        found += fresh[:1]
        if not pieces:
            boxes.append(_box(low, high))
    found.sort(key=lambda one: -one[1])
    total = sum(area for _, area in found)
    if total > _most(run):
        return ()
    whole = not boxes and total > 0
    shapes = [
        MissingShape(outline, area / total if whole else None, _RIM_U_MM) for outline, area in found
    ]
    return (*shapes, *(MissingShape(box, None, _BOX_U_MM) for box in boxes))


def _same(one: tuple[Point, ...], other: tuple[Point, ...]) -> bool:
    """Whether two outlines are one piece, seen in two boxes."""
    return math.dist(np.mean(one, axis=0), np.mean(other, axis=0)) < 1.0


def _most(run: Run) -> float:
    """More than so much [mm2] does not fit what was measured: then the rim that was drawn is not
    that of the paper (something lies across it), and nothing is told by it."""
    loss = next((f for f in run.findings if f.quantity == "leaf.loss_mm2"), None)
    if loss is None or loss.value is None:
        return math.inf
    return _AGREE * loss.value + 3 * (loss.u or 0.0)


def _pieces(
    limits: tuple[Point, ...], paper: tuple[Point, ...], low: NDArray[np.float64],
    high: NDArray[np.float64],
) -> list[tuple[tuple[Point, ...], float]]:  # fmt: skip
    """What lies inside the outline and outside the paper, within a box: outlines and areas."""
    cells = np.ceil((high - low) / _CELL_MM).astype(int)
    if min(cells) < 2 or max(cells) > 6000:
        return []
    size = int(cells[1]), int(cells[0])
    missing = (_filled(limits, low, size) > 0) & (_filled(paper, low, size) == 0)
    # What is shallower than the roughness of an edge is no loss.
    side = max(1, round(_ROUGH_MM / _CELL_MM))
    kernel = np.ones((side, side), np.uint8)
    opened = cv2.morphologyEx(missing.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    rings, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = []
    for ring in rings:
        area = cv2.contourArea(ring) * _CELL_MM**2
        if area >= _LEAST_MM2:
            simple = cv2.approxPolyDP(ring, 0.15 / _CELL_MM, True).reshape(-1, 2)
            points = (simple + 0.5) * _CELL_MM + low
            if len(points) > 2:
                out.append((tuple((float(x), float(y)) for x, y in points), float(area)))
    return sorted(out, key=lambda one: -one[1])


def _filled(
    points: tuple[Point, ...], low: NDArray[np.float64], size: tuple[int, int]
) -> NDArray[np.uint8]:
    mask = np.zeros(size, np.uint8)
    at = (np.array(points) - low) / _CELL_MM - 0.5
    cv2.fillPoly(mask, [np.round(at * 16).astype(np.int32)], 1, shift=4)
    return mask


def _box(low: NDArray[np.float64], high: NDArray[np.float64]) -> tuple[Point, ...]:
    wide = max(float(high[0] - low[0]), 0.5)
    tall = max(float(high[1] - low[1]), 0.5)
    x, y = float(low[0]), float(low[1])
    assert math.isfinite(wide * tall)
    return (x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall)
