"""The frame of a sheet in a picture: its fold, and the head edge where the fold meets it.

A sheet's own frame: it lies flat, its outer side up, head away from you; x in millimetres from
the fold to the right, y from the head edge at the fold down. A picture of the inner side is
mirrored: there x runs to the left.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.edges import (
    EDGE_BIAS_LIGHT_PX,
    SIDES,
    Edge,
    Line,
    Side,
    coarse_line,
    fine_edge,
    meet,
)  # fmt: skip
from quirewell.science.imaging.fold import find_fold
from quirewell.science.imaging.leaf import DARKEST_PAPER_L, FOLD_SIDE, LEAST_LEAF, Panel
from quirewell.science.imaging.pointed import Said, inside_corners, pointed_edges
from quirewell.science.imaging.region import CLIPPED, Region, find_region

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
# Head edge and fold are drawn at 150 dpi or finer; paper is told from ground on a picture reduced
# further, as long as it stays this large.
_MIDDLE_MM = 25.4 / 150
_COARSE_MM, _SMALLEST_PX = 0.7, 200
_TRIM_MM = 1.5
# Where no fold is seen, the middle of the sheet stands for it: how far off it may be (assumed).
NO_FOLD_U_MM = 1.0
NO_HEAD_U_MM = 0.5
# A fold is fitted through so many places along it (see ``fold``).
_BANDS = 50
LEAST_PX = 60
_CORNERS: tuple[tuple[Side, Side], ...] = (
    ("head", "left"), ("head", "right"), ("foot", "right"), ("foot", "left"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class SheetFrame:
    """Where a sheet lies in a picture.

    ``origin_px`` is where the fold meets the head edge; ``right`` and ``down`` [px per mm] run
    across the fold to the right of the picture and along the fold; ``sign`` is -1 where the inner
    side is seen. ``height_mm`` is the length of the fold, ``fold_u_mm`` and ``head_u_mm`` how well
    the fold and the head edge are placed (they move all holes of a sheet together), ``turn_u`` how
    well the fold's direction is known [radians].
    """

    origin_px: tuple[float, float]
    right: tuple[float, float]
    down: tuple[float, float]
    sign: float
    height_mm: float
    fold_u_mm: float
    head_u_mm: float
    turn_u: float
    fold_seen: bool
    region: Region
    factor: float
    warnings: tuple[str, ...]

    def matrix(self) -> Array:
        """Pixels of the picture to the sheet's frame: (2, 3), [mm] = matrix @ (px, py, 1)."""
        turn = np.linalg.inv(np.column_stack([self.right, self.down]))
        turn[0] *= self.sign
        return np.column_stack([turn, -turn @ np.array(self.origin_px)])

    def to_px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """A place in the sheet's frame [mm] as pixels of the picture."""
        x = self.sign * x_mm
        return (
            self.origin_px[0] + self.right[0] * x + self.down[0] * y_mm,
            self.origin_px[1] + self.right[1] * x + self.down[1] * y_mm,
        )


def find_frame(
    pixels: Pixels,
    px_mm: tuple[float, float],
    panel: Panel = "whole",
    inner: bool = False,
    said: Said | None = None,
    hidden: list[Array] | None = None,
    below: bool = False,
) -> SheetFrame | None:
    """Find fold and head edge of the sheet in a picture; None when nothing looks like paper, or
    when neither a fold nor both outer edges are seen.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding, upright
    px_mm
        size of a pixel along x and along y [mm]
    panel
        "left" or "right" for that half of an opened wrap with the fold in it, "whole" for a sheet
        with the fold in its middle
    inner
        whether the inner side is seen
    said
        what a person corrected: corners, polygons painted out, the kind of ground
    hidden
        polygons [px] of things that lie beside the sheet
    below
        light from below, as on a light box; taken so, too, where the ground is clipped white
    """
    if min(pixels.shape[:2]) < LEAST_PX:
        return None
    said = said or Said()
    size = float(np.sqrt(px_mm[0] * px_mm[1]))
    step = max(1, int(_MIDDLE_MM / size + 0.1))
    middle = _reduced(pixels, step)
    most = min(int(_COARSE_MM / (size * step)), min(middle.shape[:2]) // _SMALLEST_PX)
    coarser = max(1, most)
    small, factor = _reduced(middle, coarser), step * coarser
    shrunk = replace(
        said,
        corners=tuple(None if c is None else (c[0] / factor, c[1] / factor) for c in said.corners),
        ignore=tuple(part / factor for part in said.ignore),
    )
    region = find_region(small, [p / factor for p in hidden or []], said.ground, shrunk.ignore)
    region = inside_corners(region, shrunk)
    if region.leaf.mean() < LEAST_LEAF or region.paper_lab[0] < DARKEST_PAPER_L:
        return None
    edges = _edges(middle, region, coarser, size * step, FOLD_SIDE.get(panel))
    below = below or clipped(region)
    fold = _fold(middle, region, coarser, edges, panel, size * step, below)
    return _framed(
        pixels, px_mm, panel, inner, said, region, factor,
        {side: _grown(edge, step) for side, edge in edges.items()},
        None if fold is None else _grown(fold, step),
    )  # fmt: skip


def _reduced(pixels: Pixels, times: int) -> Pixels:
    """A picture reduced so many times in each way; what is left over at its right and lower rim
    is dropped."""
    if times == 1:
        return pixels
    size = pixels.shape[1] // times, pixels.shape[0] // times
    cut = pixels[: size[1] * times, : size[0] * times]
    return np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_AREA), pixels.dtype)


def _scaled(line: Line, factor: float) -> Line:
    return Line(line.side, line.offset * factor, line.slope)


def _grown(edge: Edge, factor: float) -> Edge:
    """An edge of a reduced picture in pixels of the full one."""
    return replace(
        edge, line=_scaled(edge.line, factor), u_px=edge.u_px * factor,
        rough_px=edge.rough_px * factor, curve=None, course=None,
    )  # fmt: skip


def _edges(
    picture: Pixels, region: Region, grow: float, px_mm: float, fold_side: Side | None
) -> dict[Side, Edge]:
    """Edges seen in the middling picture; all but the head only roughly."""
    coarse = {}
    for side in SIDES:
        found = coarse_line(region, side) if side != fold_side else None
        if found is not None:
            coarse[side] = _scaled(found[0], grow), found[1] * grow, found[2] * grow
    edges: dict[Side, Edge] = {}
    for side, (line, start, stop) in coarse.items():
        if side != "head":
            edges[side] = Edge(line, grow, grow, 1.0, 0.0, 0.0)
            continue
        trim = _TRIM_MM / px_mm
        for upright in ("left", "right"):
            if upright in coarse:
                at, _ = meet(line, coarse[upright][0])
                start, stop = (
                    (max(start, at), stop) if upright == "left" else (start, min(stop, at))
                )
        if stop - start < 6 * trim:
            continue
        edge = fine_edge(picture, line, start + trim, stop - trim, px_mm, curved=False)
        if edge is not None and edge.share >= 0.15:
            edges[side] = edge
    return edges


def _fold(
    picture: Pixels, region: Region, grow: float, edges: dict[Side, Edge], panel: Panel,
    px_mm: float, below: bool,
) -> Edge | None:  # fmt: skip
    """The fold in the middling picture: near the inner side of a half, or in the middle."""
    columns = np.flatnonzero(region.leaf.mean(axis=0) > 0.3) * region.factor * grow
    if columns.size < 10:
        return None
    first, last = float(columns[0]), float(columns[-1])
    span, rim = last - first, max(3.0, 0.4 / px_mm)
    reach = {
        "left": (first + 0.55 * span, last - rim),
        "right": (first + rim, last - 0.55 * span),
        "whole": (first + 0.38 * span, last - 0.38 * span),
    }[panel]
    head, foot = _level(edges, "head", picture), _level(edges, "foot", picture)
    name = FOLD_SIDE.get(panel, "right")
    found = find_fold(picture, head, foot, *reach, px_mm, name)
    if found is not None or not below or not {"head", "foot"} <= set(edges):
        return found
    found = find_fold(picture, head, foot, *reach, px_mm, name, cloudy=True)
    if found is not None:
        return found
    # A thin fold lets more light through: look for a bright line.
    return find_fold(_turned(picture), head, foot, *reach, px_mm, name, cloudy=True)


def clipped(region: Region) -> bool:
    """Whether the ground is clipped white, as a light box is and no lid of a scanner."""
    if not region.ground.any():
        return False
    return bool((np.median(region.light[region.ground], axis=0) >= CLIPPED).all())


def _turned(picture: Pixels) -> Pixels:
    """The picture with light and dark exchanged, so that ratios of light stay what they were."""
    top = 65535 if picture.dtype == np.uint16 else 255
    values = np.arange(top + 1, dtype=np.float64)
    usual = float(np.median(picture[::5, ::5, 1]))
    table = np.clip(22000.0 * usual / np.maximum(values, 0.02 * top), 1, 65535)
    green = table.astype(np.uint16)[picture[..., 1]]
    return np.repeat(green[..., None], 2, axis=2)


def _level(edges: dict[Side, Edge], side: Side, picture: Pixels) -> Line:
    if side in edges:
        return edges[side].line
    return Line(side, 0.0 if side == "head" else float(picture.shape[0]), 0.0)


def _framed(
    pixels: Pixels, px_mm: tuple[float, float], panel: Panel, inner: bool, said: Said,
    region: Region, factor: float, edges: dict[Side, Edge], fold: Edge | None,
) -> SheetFrame | None:  # fmt: skip
    says: list[str] = []
    size = float(np.sqrt(px_mm[0] * px_mm[1]))
    if fold is not None and panel != "whole":
        edges = edges | {FOLD_SIDE[panel]: fold}
    limits = {side: edges[side].line if side in edges else _rim(pixels, side) for side in SIDES}
    corners = np.array([meet(limits[a], limits[b]) for a, b in _CORNERS])
    drawn = pointed_edges(said, corners, size)
    limits |= {side: edge.line for side, edge in drawn.items()}
    edges = edges | drawn
    if panel != "whole":
        fold = edges.get(FOLD_SIDE[panel])
        if fold is None:
            return None
    if fold is not None:
        line, fold_u = fold.line, fold.u_px * size
        rough = fold.rough_px * size / float(np.sqrt(_BANDS * fold.share))
    elif "left" in edges and "right" in edges:
        left, right = limits["left"], limits["right"]
        line = Line(
            "right", 0.5 * (left.offset + right.offset), 0.5 * (left.slope + right.slope)
        )  # fmt: skip
        fold_u, rough = NO_FOLD_U_MM, 0.0
        says.append(
            "The fold was not seen, so x is measured from the middle of the sheet, which need not "
            f"be the fold (taken as sure to {NO_FOLD_U_MM:g} mm)."
        )
    else:
        return None
    head_u = _head_u(edges, panel, size) if "head" in edges else NO_HEAD_U_MM
    if "head" not in edges:
        says.append(
            "The head edge is not in the picture, so y is measured from the picture's upper rim; "
            "only distances between holes can be used."
        )
    if "foot" not in edges:
        says.append("The foot edge is not in the picture.")
    origin, foot_at = np.array(meet(limits["head"], line)), np.array(meet(limits["foot"], line))
    step = np.array([line.slope * px_mm[0], px_mm[1]])
    step /= np.hypot(*step)
    down = step / px_mm
    right_way = np.array([step[1], -step[0]]) / px_mm
    height = float(np.hypot(*((foot_at - origin) * px_mm)))
    # A line through many places; through two corners pointed at, or none, as sure as these are.
    turn_u = (float(np.sqrt(12.0)) * rough if rough else 2.0 * fold_u) / max(height, 1.0)
    return SheetFrame(
        (float(origin[0]), float(origin[1])), (float(right_way[0]), float(right_way[1])),
        (float(down[0]), float(down[1])), -1.0 if inner else 1.0, height, fold_u, head_u,
        turn_u,
        panel != "whole" or fold is not None, region, factor, tuple(says),
    )  # fmt: skip


def _head_u(edges: dict[Side, Edge], panel: Panel, px_mm: float) -> float:
    """How well the head edge is placed at the fold [mm]: at its end it is twice as unsure as in
    its middle, and the half-way point of light may lie off the true edge."""
    ends = 1.0 if panel == "whole" else 2.0
    bias = EDGE_BIAS_LIGHT_PX * max(px_mm, _MIDDLE_MM)
    return float(np.hypot(ends * edges["head"].u_px * px_mm, bias))


def _rim(pixels: Pixels, side: Side) -> Line:
    height, width = pixels.shape[:2]
    return Line(side, {"head": 0.0, "left": 0.0, "foot": height, "right": width}[side], 0.0)
