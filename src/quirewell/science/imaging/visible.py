"""Which part of a picture is the paper to be matched: not the ground, not the strip.

Paper and ground are told apart as for measuring (:mod:`.region`). Here the paper is taken in
cautiously: what is left out costs a few points, what is let in wrongly would speak for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.region import find_region

_LEAST_PAPER_SHARE = 0.04


@dataclass(frozen=True, slots=True)
class VisiblePaper:
    """``mask`` is true on paper; ``angle_deg`` is the turn of its edges, clockwise, -45 to 45;
    ``box_px`` (width, height) of the smallest turned rectangle round it [px]; ``ground`` says
    whether any ground was seen."""

    mask: Mask
    angle_deg: float
    box_px: tuple[float, float]
    ground: bool


def visible_paper(
    pixels: NDArray[np.uint8 | np.uint16], hide: list[NDArray[np.float64]], margin_px: float
) -> VisiblePaper:
    """Find the paper in ``pixels`` (H, W, 3, sRGB), leaving out the polygons ``hide`` [px].

    The mask keeps ``margin_px`` [px] away from the ground and from every hidden polygon.
    """
    region = find_region(pixels, hide)
    small = region.leaf.astype(np.uint8)
    ground = bool(region.ground.any())
    if small.mean() < _LEAST_PAPER_SHARE:
        small, ground = np.ones_like(small), False
    angle, box = _box(small, region.factor)
    reach = max(1, round(margin_px / region.factor))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    inner = cv2.erode(small, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0 if ground else 1)
    size = (pixels.shape[1], pixels.shape[0])
    full = cv2.resize(inner, size, interpolation=cv2.INTER_NEAREST)
    return VisiblePaper(np.asarray(full, dtype=bool), angle, box, ground)


def _box(paper: NDArray[np.uint8], factor: float) -> tuple[float, tuple[float, float]]:
    outlines, _ = cv2.findContours(paper, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    _, (wide, tall), angle = cv2.minAreaRect(max(outlines, key=len))
    while angle > 45:
        angle, wide, tall = angle - 90, tall, wide
    while angle < -45:
        angle, wide, tall = angle + 90, tall, wide
    return float(angle), (float(wide * factor), float(tall * factor))
