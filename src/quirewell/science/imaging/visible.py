"""Which part of a picture is the paper to be matched: not the ground, not the strip.

Deliberately cautious: what is left out costs a few points, what is let in wrongly would
speak for the paper. The ground is what lies along the picture's rim, if most of the rim is of
one colour and the rest is clearly another; where no ground shows, all of the picture is paper.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Mask

_SMALL_PX = 640
_RIM = 0.02
_LEAST_RIM_SHARE = 0.4
_LEAST_PAPER_SHARE = 0.12
_LEAST_CONTRAST = 14.0


@dataclass(frozen=True, slots=True)
class VisiblePaper:
    """``mask`` is true on paper; ``angle_deg`` is the turn of its edges, clockwise, -45 to 45;
    ``box_px`` (width, height) of its smallest upright-turned rectangle [px]; ``ground`` says
    whether any ground was seen."""

    mask: Mask
    angle_deg: float
    box_px: tuple[float, float]
    ground: bool


def visible_paper(
    rgb: NDArray[np.uint8], hide: list[NDArray[np.float64]], margin_px: float
) -> VisiblePaper:
    """Find the paper in ``rgb`` (H, W, 3), leaving out the polygons ``hide`` [px].

    The mask keeps ``margin_px`` away from the paper's edge and from every hidden polygon.
    """
    height, width = rgb.shape[:2]
    shrink = min(1.0, _SMALL_PX / max(height, width))
    size = (max(16, round(width * shrink)), max(16, round(height * shrink)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    scale = np.array([size[0] / width, size[1] / height])
    hidden = np.zeros((size[1], size[0]), dtype=np.uint8)
    for polygon in hide:
        hull = cv2.convexHull((polygon * scale).astype(np.float32))
        cv2.fillConvexPoly(hidden, np.round(hull).astype(np.int32), 1)
    reach = max(1, int(np.ceil(margin_px * float(scale.mean()))))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    hidden = np.asarray(cv2.dilate(hidden, kernel), dtype=np.uint8)
    paper = _from_ground(np.asarray(small), hidden)
    ground = paper is not None
    if paper is None:
        paper = np.ones_like(hidden)
    paper[hidden > 0] = 0
    paper = _largest(paper, hidden)
    angle, box = _box(paper, scale)
    rim = 1 if ground else 0
    inner = cv2.erode(paper, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=1 - rim)
    full = cv2.resize(inner, (width, height), interpolation=cv2.INTER_NEAREST)
    return VisiblePaper(np.asarray(full, dtype=bool), angle, box, ground)


def _from_ground(small: NDArray[np.uint8], hidden: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
    height, width = small.shape[:2]
    rim = max(2, round(_RIM * min(height, width)))
    edge = np.ones((height, width), dtype=bool)
    edge[rim:-rim, rim:-rim] = False
    edge &= hidden == 0
    soft = cv2.GaussianBlur(small, (0, 0), 1.2).astype(np.float32)
    if int(edge.sum()) < 50:
        return None
    colour = _commonest(soft[edge])
    away = np.sqrt(((soft - colour) ** 2).sum(axis=2) / 3)
    level, _ = cv2.threshold(
        np.clip(away, 0, 255).astype(np.uint8), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU
    )
    paper = (away > level).astype(np.uint8)
    on_rim = float(np.mean(paper[edge] == 0))
    share = float(paper.mean())
    inside = away[(paper > 0) & (hidden == 0)]
    contrast = float(np.median(inside)) if inside.size else 0.0
    if on_rim < _LEAST_RIM_SHARE or share < _LEAST_PAPER_SHARE or contrast < _LEAST_CONTRAST:
        return None
    closing = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    return np.asarray(cv2.morphologyEx(paper, cv2.MORPH_CLOSE, closing), dtype=np.uint8)


def _commonest(colours: NDArray[np.float32]) -> NDArray[np.float32]:
    """The colour most of the rim has: the median of the fullest lightness bin's neighbours."""
    light = colours.mean(axis=1)
    counts, edges = np.histogram(light, bins=32, range=(0, 256))
    middle = 0.5 * (edges[int(counts.argmax())] + edges[int(counts.argmax()) + 1])
    return np.asarray(np.median(colours[np.abs(light - middle) < 12], axis=0), dtype=np.float32)


def _largest(paper: NDArray[np.uint8], hidden: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The biggest connected part, its holes (dark pictures, mostly) filled."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(paper, connectivity=4)
    if count < 2:
        return paper
    biggest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    whole = np.asarray(np.asarray(labels) == biggest, dtype=np.uint8)
    outlines, _ = cv2.findContours(whole, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(whole, outlines, -1, 1, cv2.FILLED)
    whole[hidden > 0] = 0
    return np.asarray(whole, dtype=np.uint8)


def _box(paper: NDArray[np.uint8], scale: NDArray[np.float64]) -> tuple[float, tuple[float, float]]:
    outlines, _ = cv2.findContours(paper, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return 0.0, (float(paper.shape[1] / scale[0]), float(paper.shape[0] / scale[1]))
    outline = max(outlines, key=len)
    _, (wide, tall), angle = cv2.minAreaRect(outline)
    while angle > 45:
        angle, wide, tall = angle - 90, tall, wide
    while angle < -45:
        angle, wide, tall = angle + 90, tall, wide
    return float(angle), (float(wide / scale[0]), float(tall / scale[1]))
