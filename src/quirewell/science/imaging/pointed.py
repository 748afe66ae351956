"""What a person corrected on a picture: corners dragged, parts painted out, the ground named.

A corner that was dragged is believed: the two edges that meet there become the straight lines
through it and their other corners. How well it was pointed stands in their uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.edges import Edge, Line, Side
from quirewell.science.imaging.region import GroundSaid, Region

Array = NDArray[np.float64]
# One pixel of the screen with the picture enlarged to about 250 dpi, or one of the picture.
POINTING_U_MM = 0.1
POINTING_U_PX = 1.0
_HALF = 0.5
# Corners run clockwise from the upper left; each edge with its two ends.
ENDS: dict[Side, tuple[int, int]] = {
    "head": (0, 1), "right": (1, 2), "foot": (3, 2), "left": (0, 3),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Said:
    """What a person said about a picture [px of the upright picture].

    ``corners`` run clockwise from the upper left, None where the corner found may stay;
    ``ignore`` are polygons painted out, ``ground`` what lies behind the leaf.
    """

    corners: tuple[tuple[float, float] | None, ...] = (None, None, None, None)
    ignore: tuple[Array, ...] = ()
    ground: GroundSaid = ""


def pointed_edges(said: Said, found: Array, px_mm: float) -> dict[Side, Edge]:
    """The edges through corners that were pointed at; none when no corner was.

    Parameters
    ----------
    found
        corners found [px], which stand where nothing was said
    px_mm
        size of a pixel [mm]
    """
    corners = [given or tuple(there) for given, there in zip(said.corners, found, strict=True)]
    u = max(POINTING_U_PX, POINTING_U_MM / px_mm)
    edges: dict[Side, Edge] = {}
    for side, (one, other) in ENDS.items():
        if said.corners[one] is None and said.corners[other] is None:
            continue
        line = _through(side, np.array(corners[one]), np.array(corners[other]))
        edges[side] = Edge(line, u / np.sqrt(2.0), 0.0, 1.0, 0.0, 0.0)
    return edges


def _through(side: Side, start: Array, stop: Array) -> Line:
    along, across = (0, 1) if side in ("head", "foot") else (1, 0)
    slope = float((stop[across] - start[across]) / (stop[along] - start[along]))
    return Line(side, float(start[across] - slope * start[along]), slope)


def inside_corners(region: Region, said: Said) -> Region:
    """The map with the leaf put where all four corners say, when it was found elsewhere."""
    if any(corner is None for corner in said.corners):
        return region
    ring = np.array(said.corners, dtype=np.float64) / region.factor
    inside = np.zeros(region.leaf.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(ring).astype(np.int32)], 1)
    quad = (inside > 0) & ~region.hidden
    if (region.leaf & quad).sum() >= _HALF * quad.sum():
        return replace(
            region, leaf=region.leaf & quad if _beyond(region.leaf, quad) else region.leaf
        )
    return replace(region, leaf=quad, ground=region.ground & ~quad)


def _beyond(leaf: NDArray[np.bool_], quad: NDArray[np.bool_]) -> bool:
    """Whether much of what was taken for the leaf lies outside the corners (a facing page)."""
    return bool((leaf & ~quad).sum() > 0.02 * quad.sum())
