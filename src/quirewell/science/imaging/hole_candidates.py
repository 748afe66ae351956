"""Candidates for staple holes in the strip along a fold: openings, rusty spots, what is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.fold_strip import FoldStrip, Light
from quirewell.science.imaging.hole_pattern import NEAR_MM
from quirewell.science.imaging.hole_shape import RUST_HUE, Shape, measure, measure_spot

Array = NDArray[np.float64]

# A wire is 0.4 mm or thicker; a smaller opening is no hole it made (common practice, no source).
SMALLEST_MM, WIDEST_MM = 0.25, 2.6
_LONGEST_MM = 12.0
_MOST_LOOKED_AT = 60
_MOST_TOLD = 20
# Of long openings: two holes nearer than this to one another are one.
_SAME_MM = 1.2


@dataclass(frozen=True, slots=True)
class Rejected:
    """A candidate that is no staple hole, in the sheet's frame [mm], and why."""

    x_mm: float
    y_mm: float
    size_mm: float
    why: str


def find_candidates(
    strip: FoldStrip, ground: Array, dark: bool, grey: bool, limit: float
) -> tuple[list[Shape], list[Rejected]]:
    """Holes and rusty spots that may be a staple's, and what is none."""
    shapes: list[Shape] = []
    rejected: list[Rejected] = []
    path = strip.share_of(ground)
    for box in _boxes(path, strip, 0.35 if dark else 0.22, limit, rejected):
        shape = measure(strip, ground, box, dark, grey)
        if shape is not None and not _again(shape, shapes):
            _judge(shape, limit, dark, shapes, rejected)
    if not dark:
        ratio = np.asarray(strip.light[..., 1:] / strip.paper[..., 1:], np.float32)
        spotted = np.asarray(1.0 - ratio.mean(axis=2), np.float32)
        for box in _boxes(spotted, strip, 0.3, limit, []):
            shape = measure_spot(strip, box)
            if shape is not None and not _beside(shape, shapes):
                _judge(shape, limit, dark, shapes, rejected)
    return shapes, rejected


def _boxes(
    signal: Light, strip: FoldStrip, least: float, limit: float, rejected: list[Rejected]
) -> list[tuple[int, int, int, int]]:
    """Boxes of connected parts of a signal that reach near the fold, largest first."""
    pitch = strip.pitch_mm
    smooth = cv2.GaussianBlur(signal, (0, 0), max(0.06 / pitch, 0.6))
    scatter = 1.4826 * float(np.median(np.abs(smooth[::3, ::3])))
    mask = (smooth > max(least, min(5.0 * scatter, 0.6))) & strip.valid
    _, _, stats, middles = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    found = []
    smallest = 0.5 * np.pi / 4 * (SMALLEST_MM / pitch) ** 2
    for (x, y, w, h, area), (cx, cy) in zip(stats[1:], middles[1:], strict=True):
        if area < smallest:
            continue
        low, high = strip.x0_mm + pitch * x, strip.x0_mm + pitch * (x + w)
        if high < -limit or low > limit:
            size = 2.0 * pitch * float(np.sqrt(area / np.pi))
            round_ = max(w, h) < 2 * min(w, h) and SMALLEST_MM <= size <= WIDEST_MM
            if round_ and len(rejected) < _MOST_TOLD:
                at = float(strip.x0_mm + pitch * cx), float(strip.y0_mm + pitch * cy)
                rejected.append(Rejected(at[0], at[1], size, f"{abs(at[0]):.1f} mm off the fold"))
            continue
        found.append((int(area), (int(x), int(y), int(x + w), int(y + h))))
    found.sort(reverse=True)
    return [box for _, box in found[:_MOST_LOOKED_AT]]


def _again(shape: Shape, shapes: list[Shape]) -> bool:
    return any(
        np.hypot(shape.x_mm - one.x_mm, shape.y_mm - one.y_mm) < 0.3 * _SAME_MM for one in shapes
    )


def _beside(shape: Shape, shapes: list[Shape]) -> bool:
    """Whether a dark spot is the rust round a hole that was found."""
    return any(
        np.hypot(shape.x_mm - one.x_mm, shape.y_mm - one.y_mm)
        < _SAME_MM + 0.5 * (one.size_mm + shape.size_mm)
        for one in shapes
    )


def _judge(
    shape: Shape, limit: float, dark: bool, shapes: list[Shape], rejected: list[Rejected]
) -> None:
    why = shape.why or _why_not(shape, limit, dark)
    if why:
        if len(rejected) < _MOST_TOLD:
            rejected.append(Rejected(shape.x_mm, shape.y_mm, shape.size_mm, why))
    else:
        shapes.append(shape)


def _why_not(shape: Shape, limit: float, dark: bool) -> str:
    """Why a shape is no staple hole; empty when it may be one."""
    if abs(shape.x_mm) > limit:
        return f"{abs(shape.x_mm):.1f} mm off the fold"
    if shape.inner_mm > WIDEST_MM:
        return f"{shape.inner_mm:.1f} mm wide: a loss, too wide for a wire"
    if shape.kind == "spot":
        if shape.redder < RUST_HUE:
            return "a dark spot that is not redder than the paper: print or dirt"
        if shape.torn or not 0.35 <= shape.size_mm <= 3.5:
            return "a rusty stain, not the shape of a wire's"
        return ""
    if shape.opens or shape.long_mm > _LONGEST_MM:
        return "a split or loss that opens to an edge"
    if shape.size_mm < SMALLEST_MM:
        return f"{shape.size_mm:.2f} mm wide: too small for a wire"
    return ""


def in_long_openings(
    strip: FoldStrip, ground: Array, dark: bool, grey: bool, expected: Sequence[float],
    shapes: list[Shape], limit: float,
) -> list[Shape]:  # fmt: skip
    """Holes that a split or a tear took in: the widest place of it near where one is expected."""
    found: list[Shape] = []
    rows, columns = strip.valid.shape
    pitch = strip.pitch_mm
    left, right = (int((d - strip.x0_mm) / pitch) for d in (-limit, limit))
    for y in expected:
        if any(abs(shape.y_mm - y) <= NEAR_MM for shape in shapes):
            continue
        low, high = (int((y + d - strip.y0_mm) / pitch) for d in (-NEAR_MM, NEAR_MM))
        box = max(0, left), max(0, low), min(columns, right), min(rows, high)
        if box[3] - box[1] < 4:
            continue
        shape = measure(strip, ground, box, dark, grey, near_y_mm=y)
        if shape is not None and _fits(shape, y):
            found.append(shape)
    return found


def _fits(shape: Shape, y_mm: float) -> bool:
    """Whether a torn opening may hold the hole expected at a place."""
    torn = shape.kind == "hole" and not shape.why and shape.torn
    wide = SMALLEST_MM <= shape.inner_mm <= WIDEST_MM
    return torn and wide and abs(shape.y_mm - y_mm) <= NEAR_MM
