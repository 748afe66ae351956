"""Find a leaf in a scan: its four edges (or the fold in place of one), corners and quality.

Coordinates are pixels of the upright picture from its upper left corner; a pixel's middle lies
at +0.5, so that drawings over the picture need no shift.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.edges import SIDES, Edge, Line, Side, coarse_line, fine_edge, meet
from quirewell.science.imaging.fold import find_fold
from quirewell.science.imaging.gutter import Gutter, find_gutter
from quirewell.science.imaging.pointed import Said, inside_corners, pointed_edges
from quirewell.science.imaging.region import Region, find_region

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
Panel = Literal["whole", "left", "right"]
FOLD_SIDE: dict[str, Side] = {"left": "right", "right": "left"}
# The worked browns of newsprint end at L* 60; anything below this is no paper (assumed).
DARKEST_PAPER_L = 40.0
LEAST_LEAF = 0.012
_TRIM_MM = 1.5


@dataclass(frozen=True, slots=True)
class Leaf:
    """A leaf as found.

    ``edges`` holds the edges that were seen; ``fold`` names the one that is a fold. ``limits``
    are the lines used for drawing and for areas: the edges, and the rim of the picture where
    an edge is not in it. ``corners_px`` (4, 2) run clockwise from the upper left. ``pointed``
    are the edges a person drew.
    """

    edges: dict[Side, Edge]
    limits: dict[Side, Line]
    corners_px: Array
    fold: Side | None
    region: Region
    warnings: tuple[str, ...]
    pointed: tuple[Side, ...] = ()

    @property
    def missing(self) -> tuple[Side, ...]:
        """Sides that are not in the picture."""
        return tuple(side for side in SIDES if side not in self.edges)

    @property
    def blur_px(self) -> float | None:
        """Median standard deviation of the step at the free edges [px]."""
        widths = [
            edge.blur_px
            for side, edge in self.edges.items()
            if side != self.fold and side not in self.pointed
        ]
        return float(np.median(widths)) if widths else None

    @property
    def on_light_ground(self) -> bool:
        """Whether the ground is lighter than the paper, as under the lid of a scanner."""
        region = self.region
        if not region.ground.any():
            return False
        green = region.light[::3, ::3, 1]
        ground = float(np.median(green[region.ground[::3, ::3]]))
        return ground > float(np.median(green[region.leaf[::3, ::3]]))


def find_leaf(
    pixels: Pixels,
    px_mm: float,
    panel: Panel = "whole",
    hidden: list[Array] | None = None,
    said: Said | None = None,
) -> Leaf | None:
    """Find the leaf in a picture; None when nothing in it looks like paper.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding, upright
    px_mm
        rough size of a pixel [mm], right to a few per cent; it only sets windows
    panel
        "left" or "right" when the picture shows that half of an opened wrap with the fold in
        it; the fold then takes the place of the inner edge
    hidden
        polygons [px] of things that lie beside the leaf
    said
        what a person corrected: corners, polygons painted out, the kind of ground
    """
    said = said or Said()
    region = find_region(pixels, hidden, said.ground, said.ignore)
    region = inside_corners(region, said)
    if region.leaf.mean() < LEAST_LEAF or region.paper_lab[0] < DARKEST_PAPER_L:
        return None
    says: list[str] = []
    fold_side = FOLD_SIDE.get(panel)
    coarse = {}
    for side in SIDES:
        found = coarse_line(region, side) if side != fold_side else None
        if found is not None:
            coarse[side] = found
    edges = _fine_edges(pixels, region, coarse, px_mm)
    if fold_side is not None:
        fold = _fold(pixels, region, edges, fold_side, px_mm)
        if fold is None:
            says.append(
                "The fold was not found, so the width is not given; look for it in the picture, "
                "or give the leaf as a whole."
            )
            fold_side = None
        else:
            edges[fold_side] = fold
    limits = {side: edges[side].line if side in edges else _rim(pixels, side) for side in SIDES}
    drawn = pointed_edges(said, _corners(limits), px_mm)
    if drawn:
        edges |= drawn
        limits |= {side: edge.line for side, edge in drawn.items()}
    missing = [side for side in SIDES if side not in edges]
    if missing and panel == "whole":
        says.append(_missing_sentence(missing))
        gutters = _gutters(pixels, edges, missing, px_mm)
        limits |= {side: gutter.line for side, gutter in gutters.items()}
        says += [_gutter_sentence(side, gutter, px_mm) for side, gutter in gutters.items()]
    return Leaf(
        edges, limits, _corners(limits), fold_side, region, tuple(says), tuple(drawn)
    )  # fmt: skip


def _missing_sentence(missing: list[Side]) -> str:
    if len(missing) == 4:
        return (
            "No ground shows around the leaf, so its edges are not in the picture and it has no "
            "size. Scan it with a centimetre of dark card showing on all sides."
        )
    names = " and ".join(missing)
    return (
        f"The {names} edge{'s' * (len(missing) > 1)} of the leaf "
        f"{'are' if len(missing) > 1 else 'is'} not in the picture (the paper runs out of it, or "
        "no straight edge is left); sizes across are given as 'at least'."
    )


def _gutters(
    pixels: Pixels, edges: dict[Side, Edge], missing: list[Side], px_mm: float
) -> dict[Side, Gutter]:
    if "head" not in edges or "foot" not in edges:
        return {}
    head, foot = edges["head"].line, edges["foot"].line
    sides = [side for side in missing if side in ("left", "right")]
    found = {side: find_gutter(pixels, head, foot, side, px_mm) for side in sides}
    return {side: gutter for side, gutter in found.items() if gutter is not None}


def _gutter_sentence(side: Side, gutter: Gutter, px_mm: float) -> str:
    return (
        f"A shaded valley runs from head to foot {px_mm * gutter.from_rim_px:.0f} mm from the "
        f"{side} rim of the picture: a gutter, with a facing page beyond it, which is left out. If "
        f"it is the fold of a wrap, say which half this is (panel {FOLD_SIDE[side]})."
    )


def _fine_edges(
    pixels: Pixels,
    region: Region,
    coarse: dict[Side, tuple[Line, float, float]],
    px_mm: float,
) -> dict[Side, Edge]:
    edges: dict[Side, Edge] = {}
    for side, (line, start, stop) in coarse.items():
        for neighbour, (other, _, _) in coarse.items():
            if other.level == line.level:
                continue
            x, y = meet(line, other)
            place = x if line.level else y
            if neighbour in ("left", "head"):
                start = max(start, place)
            else:
                stop = min(stop, place)
        trim = _TRIM_MM / px_mm
        if stop - start < 6 * trim:
            continue
        edge = fine_edge(pixels, line, start + trim, stop - trim, px_mm, region)
        if edge is not None and edge.share >= 0.15:
            edges[side] = edge
    return edges


def _fold(
    pixels: Pixels, region: Region, edges: dict[Side, Edge], side: Side, px_mm: float
) -> Edge | None:
    """Search the inner 45 % of the paper for the fold."""
    if "head" not in edges or "foot" not in edges:
        return None
    columns = np.flatnonzero(region.leaf.mean(axis=0) > 0.3) * region.factor
    if columns.size < 10:
        return None
    first, last = float(columns[0]), float(columns[-1])
    cut = 0.55 * (last - first)
    rim = max(3.0, 0.4 / px_mm)
    low, high = (first + cut, last - rim) if side == "right" else (first + rim, last - cut)
    return find_fold(pixels, edges["head"].line, edges["foot"].line, low, high, px_mm, side)


def _rim(pixels: Pixels, side: Side) -> Line:
    height, width = pixels.shape[:2]
    return Line(side, {"head": 0.0, "left": 0.0, "foot": height, "right": width}[side], 0.0)


def _corners(limits: dict[Side, Line]) -> Array:
    pairs: tuple[tuple[Side, Side], ...] = (
        ("head", "left"), ("head", "right"), ("foot", "right"), ("foot", "left"),
    )  # fmt: skip
    return np.array([meet(limits[level], limits[upright]) for level, upright in pairs])
