"""The strip of a picture along the fold, turned upright, with the light of bare paper in it.

Rows run from head to foot along the fold, columns across it; the fold lies in the middle. Print,
holes and stains are short along the fold, so the paper's light is the median of each column over
20 mm, which follows the shading of the fold itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.sheet_frame import SheetFrame

Array = NDArray[np.float64]
Light = NDArray[np.float32]
Pixels = NDArray[np.uint8 | np.uint16]
Mask = NDArray[np.bool_]

HALF_MM = 4.1
# Nothing nearer to head or foot is a staple hole; the edge's own shade ends there (assumed).
RIM_MM = 0.7
_FINEST_MM = 25.4 / 600
_COARSEST_MM = 0.06
_WINDOW_MM = 20.0
_STEP_MM = 4.0
# The level of bare paper among what lies in the window: a little above the middle, for print.
_RANK = 0.55


@dataclass(frozen=True, slots=True)
class FoldStrip:
    """``light`` (rows, columns, 3) is linear light, ``paper`` that of bare paper there; ``valid``
    where the picture has anything. A pixel is ``pitch_mm`` wide, ``native_mm`` the picture's own
    (never finer than 600 dpi); the middle of pixel (0, 0) lies at ``x0_mm``, ``y0_mm`` of the
    frame as it lies in the picture (x to its right). ``noise`` is the scatter of the paper's
    light in each colour.
    """

    light: Light
    paper: Light
    valid: Mask
    pitch_mm: float
    native_mm: float
    x0_mm: float
    y0_mm: float
    noise: Array

    def share_of(self, ground: Array) -> Light:
        """How far each pixel lies on the way from paper (0) to the ground seen through (1)."""
        return share(self.light, self.paper, ground, self.noise)


def share(light: Light, paper: Light, ground: Array, noise: Array) -> Light:
    """Share of ground in light (..., 3) over paper, colours weighed by how well they tell."""
    above = np.zeros(paper.shape[:-1], np.float32)
    square = np.full(paper.shape[:-1], 1e-6, np.float32)
    for at in range(3):
        bare = paper[..., at]
        way = np.float32(ground[at]) - bare
        weighed = way * np.float32(1.0 / noise[at] ** 2)
        above += weighed * (light[..., at] - bare)
        square += weighed * way
    return np.asarray(above / square, np.float32)


def fold_strip(pixels: Pixels, frame: SheetFrame, hidden: list[Array]) -> FoldStrip | None:
    """Cut the strip out of a picture (H, W, 3); None when too little of it is in the picture.

    ``hidden`` are polygons [px of the picture] that are not looked at.
    """
    native = 1.0 / math.hypot(*frame.down)
    shrink = max(1, int(_FINEST_MM / native + 0.35))
    native *= shrink
    pitch = native / max(1, math.ceil(native / _COARSEST_MM))
    rows = int((frame.height_mm - 2 * RIM_MM) / pitch)
    columns = 2 * int(HALF_MM / pitch) + 1
    if rows * pitch < 20.0:
        return None
    x0, y0 = -pitch * (columns // 2), RIM_MM
    right, down = pitch * np.array(frame.right), pitch * np.array(frame.down)
    start = np.array(frame.origin_px) + x0 * np.array(frame.right) + y0 * np.array(frame.down)
    ends = [
        start + i * (columns - 1) * right + j * (rows - 1) * down for i in (0, 1) for j in (0, 1)
    ]
    box = np.array(ends)
    left, top = np.floor(box.min(axis=0)).astype(int) - 4
    stop_x, stop_y = np.ceil(box.max(axis=0)).astype(int) + 5
    left, top = max(0, left), max(0, top)
    cut = pixels[top:stop_y, left:stop_x]
    if cut.shape[0] < 8 or cut.shape[1] < 8:
        return None
    seen = np.full(cut.shape[:2], 255, np.uint8)
    for polygon in hidden:
        cv2.fillPoly(seen, [np.round(polygon - [left, top]).astype(np.int32)], 0)
    light = light_of(cut)
    if shrink > 1:
        size = cut.shape[1] // shrink, cut.shape[0] // shrink
        inside = light[: size[1] * shrink, : size[0] * shrink]
        light = np.asarray(cv2.resize(inside, size, interpolation=cv2.INTER_AREA), np.float32)
        seen = np.asarray(cv2.resize(seen[: inside.shape[0], : inside.shape[1]], size))
    # Pixel middles of the picture lie at +0.5; the warp counts them from 0.
    place = (start - [left, top]) / shrink - 0.5
    warp = np.column_stack([right / shrink, down / shrink, place]).astype(np.float64)
    finer = cv2.INTER_CUBIC if pitch < 0.9 * native else cv2.INTER_LINEAR
    flags = finer | cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(
        light, warp, (columns, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    valid = cv2.warpAffine(
        seen, warp, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    ok = np.asarray(valid) > 250
    if ok.mean() < 0.4:
        return None
    found = np.asarray(turned, np.float32)
    paper = _paper(found, pitch)
    return FoldStrip(found, paper, ok, pitch, native, x0, y0, _noise(found, paper, ok))


def _paper(light: Light, pitch: float) -> Light:
    """Median of each column over 20 mm along the fold, every 2 mm, drawn out between."""
    rows, columns = light.shape[:2]
    block = max(1, round(0.25 / pitch))
    wide = max(1, round(0.085 / pitch))
    size = max(2, columns // wide), max(2, rows // block)
    small = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
    reach = max(3, round(0.5 * _WINDOW_MM / (pitch * rows / size[1])))
    step = max(1, round(_STEP_MM / (pitch * rows / size[1])))
    at = np.arange(step // 2, size[1], step)
    parts = [small[max(0, i - reach) : i + reach + 1] for i in at]
    levels = np.array(
        [
            np.partition(part, int(_RANK * len(part)), axis=0)[int(_RANK * len(part))]
            for part in parts
        ]
    )
    out = cv2.resize(levels, (columns, rows), interpolation=cv2.INTER_LINEAR)
    return np.maximum(np.asarray(out, np.float32), np.float32(1e-4))


def _noise(light: Light, paper: Light, valid: Mask) -> Array:
    """Robust scatter of the light about the paper, in each colour; never below half a step of
    eight bits in dark paper."""
    some = np.s_[:: max(1, light.shape[0] // 400), :: max(1, light.shape[1] // 60)]
    miss = np.abs(light[some] - paper[some])[valid[some]]
    return np.asarray(np.maximum(1.4826 * np.median(miss, axis=0), 1e-3), np.float64)
