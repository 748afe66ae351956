"""Geometry of a measured leaf for drawing over its picture: text, pixels of the upright picture."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.edges import SIDES
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.leaf_tone import LeafTone
from quirewell.science.imaging.loss import Loss
from quirewell.science.imaging.stains import Stains
from quirewell.science.imaging.strip import StripFound
from quirewell.science.imaging.tears import Tears

_TONE_BLOCKS = 24
_MOST_STAINS = 120


def drawing(
    leaf: Leaf,
    strip: StripFound | None,
    loss: Loss | None,
    tone: LeafTone | None,
    tears: Tears | None = None,
    stains: Stains | None = None,
) -> dict[str, str]:
    """Shapes by name.

    ``outline``: corners of the fitted lines, clockwise from the upper left, "x,y x,y ..";
    ``paper``: the rim of the paper as it is, chips included; ``edges``: sides seen; ``fold``: its
    two ends; ``strip``: corners; ``losses``: boxes "x0,y0,x1,y1 .."; ``tone``: blocks
    "x,y,side,L,a,b .."; ``tears``: the course of each from its mouth, "x,y x,y ..; ..";
    ``stains``: the rim of each, largest first, likewise.
    """
    shapes = {
        "outline": _points(leaf.corners_px),
        "paper": _points(_rim(leaf)),
        "edges": " ".join(side for side in SIDES if side in leaf.edges),
    }
    if leaf.fold is not None:
        ends = leaf.corners_px[[1, 2] if leaf.fold == "right" else [0, 3]]
        shapes["fold"] = _points(ends)
    if strip is not None:
        shapes["strip"] = _points(strip.box_px)
    if loss is not None and loss.pieces:
        shapes["losses"] = " ".join(",".join(map(str, p.box_px)) for p in loss.pieces)
    if tears is not None and tears.found:
        shapes["tears"] = "; ".join(_points(_thinned(tear.course_px)) for tear in tears.found)
    if stains is not None and stains.found:
        rims = [stain.rim_px for stain in stains.found[:_MOST_STAINS]]
        shapes["stains"] = "; ".join(_points(rim) for rim in rims if len(rim) > 2)
    if tone is not None:
        shapes["tone"] = _tone(tone)
    return shapes


def _points(points: NDArray[np.floating]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _thinned(course: NDArray[np.floating]) -> NDArray[np.floating]:
    """A course with points about every twelve pixels, its ends kept."""
    step = max(1, len(course) // max(1, int(len(course) / 12)))
    return np.concatenate([course[:-1:step], course[-1:]])


def _rim(leaf: Leaf) -> NDArray[np.float64]:
    rings, _ = cv2.findContours(
        leaf.region.leaf.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    ring = max(rings, key=cv2.contourArea)
    simple = cv2.approxPolyDP(ring, 1.2, True).reshape(-1, 2).astype(np.float64)
    return (simple + 0.5) * leaf.region.factor


def _tone(tone: LeafTone) -> str:
    lab, side = tone.tiles.lab, tone.tiles.side_px
    step = max(1, -(-max(lab.shape[:2]) // _TONE_BLOCKS))
    blocks = []
    for row in range(0, lab.shape[0], step):
        for column in range(0, lab.shape[1], step):
            part = lab[row : row + step, column : column + step].reshape(-1, 3)
            part = part[np.isfinite(part[:, 0])]
            if len(part) >= 2:
                values = ",".join(f"{value:.1f}" for value in np.median(part, axis=0))
                blocks.append(f"{column * side},{row * side},{step * side},{values}")
    return " ".join(blocks)
