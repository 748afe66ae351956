"""Missing paper: chips and lost corners inside the fitted outline, and holes.

The rim of a piece is drawn where linear light is half-way between ground and paper, a quarter
of a pixel fine. Holes on a dark ground can look like solid ink: they are counted only
where their colour is that of the ground, are few and compact, and add their own doubt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.edges import SIDES, Line
from quirewell.science.imaging.leaf import Leaf

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
Mask = NDArray[np.bool_]

SMALLEST_MM2 = 1.0
_DEPTH_MM = 0.45
# A long, shallow piece is an edge that is not straight.
_MEAN_DEPTH_MM = 0.35
_MOST_HOLES = 5
_RIM_U_PX = 0.10
_LUMA = np.array([0.2126729, 0.7151522, 0.0721750], dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Piece:
    """A place where paper is missing: ``kind`` "edge" or "hole", its box (x0, y0, x1, y1) and
    area in pixels, the length of its rim and of the stretch of outline it takes [px]."""

    kind: str
    box_px: tuple[int, int, int, int]
    area_px: float
    rim_px: float
    outline_px: float


@dataclass(frozen=True, slots=True)
class Loss:
    """All missing paper [px^2] with its standard uncertainty."""

    area_px: float
    u_rim_px: float
    u_outline_px: float
    u_holes_px: float
    pieces: tuple[Piece, ...]
    warnings: tuple[str, ...]


def find_loss(pixels: Pixels, leaf: Leaf, px_mm: float) -> Loss | None:
    """Sum up the paper missing inside the outline; None when no ground shows.

    Pieces smaller than 1 mm2 or less than about half a millimetre deep pass for roughness of
    the edge and are not counted.
    """
    region = leaf.region
    if not region.ground.any() or not leaf.edges:
        return None
    small_mm = px_mm * region.factor
    away = _inside(leaf, region.leaf.shape, region.factor)
    core = region.ground & (away * px_mm > _DEPTH_MM)
    pieces = [
        piece
        for mask in _parts(core, region.ground & (away > 0), small_mm)
        if (piece := _measure(pixels, leaf, mask, px_mm, "edge"))
        and piece.area_px * px_mm**2 >= SMALLEST_MM2
        and piece.area_px * px_mm >= _MEAN_DEPTH_MM * piece.outline_px
    ]
    says: list[str] = []
    spots = _spots(leaf, away * px_mm, small_mm)
    if len(spots) > _MOST_HOLES:
        says.append(
            f"{len(spots)} spots inside the leaf have the colour of the ground and may be print; "
            "none is counted as a hole. A ground of another colour would tell."
        )
        spots = []
    holes = [p for mask in spots if (p := _measure(pixels, leaf, mask, px_mm, "hole"))]
    if holes:
        area = sum(piece.area_px for piece in holes) * px_mm**2
        says.append(
            f"{len(holes)} hole{'s' * (len(holes) > 1)} of the colour of the ground counted "
            f"({area:.1f} mm2); look whether {'they are' if len(holes) > 1 else 'it is'} ink."
        )
    return _summed(leaf, pieces, holes, tuple(says))


def _summed(leaf: Leaf, pieces: list[Piece], holes: list[Piece], says: tuple[str, ...]) -> Loss:
    edge_u = max((edge.u_px for edge in leaf.edges.values()), default=0.0)
    both = pieces + holes
    return Loss(
        sum(piece.area_px for piece in both),
        math.hypot(
            _RIM_U_PX * sum(piece.rim_px for piece in both),
            0.01 * sum(piece.area_px for piece in both),
        ),
        math.hypot(edge_u, 0.05) * sum(piece.outline_px for piece in pieces),
        0.3 * sum(piece.area_px for piece in holes),
        tuple(both),
        says,
    )


def distances(
    limits: dict[str, Line], x: NDArray[np.floating], y: NDArray[np.floating]
) -> dict[str, Array]:
    """Distance inward from each limit [px] of picture points."""
    out = {}
    for side, line in limits.items():
        miss = (y - line.at(x)) if line.level else (x - line.at(y))
        sign = 1.0 if side in ("head", "left") else -1.0
        out[side] = sign * miss / math.hypot(1.0, line.slope)
    return out


def _inside(leaf: Leaf, shape: tuple[int, ...], factor: float) -> Array:
    """Distance inward from the nearest limit, for every pixel of the coarse map [px, full]."""
    x = ((np.arange(shape[1]) + 0.5) * factor)[None, :]
    y = ((np.arange(shape[0]) + 0.5) * factor)[:, None]
    away = distances({side: leaf.limits[side] for side in SIDES}, x, y)
    return np.asarray(np.minimum.reduce(list(away.values())))


def _parts(core: Mask, whole: Mask, small_mm: float) -> list[Mask]:
    """Connected parts of the ground inside the outline that reach deep enough."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        whole.astype(np.uint8), connectivity=8
    )
    deep = np.unique(labels[core])
    least = 0.4 * SMALLEST_MM2 / small_mm**2
    return [
        labels == label
        for label in deep
        if 0 < label < count and stats[label, cv2.CC_STAT_AREA] >= least
    ]


def _spots(leaf: Leaf, away_mm: Array, small_mm: float) -> list[Mask]:
    """Compact spots inside the leaf with the colour of the ground."""
    region = leaf.region
    light, luma = region.light, region.light @ _LUMA
    behind = region.light[region.ground][::5]
    before = region.light[region.leaf & (away_mm > 1.0)][::5]
    if len(behind) < 50 or len(before) < 50:
        return []
    hue, ground_hue = _hue(light), float(np.median(_hue(behind)))
    paper_hue = float(np.median(_hue(before)))
    if abs(paper_hue - ground_hue) < 0.04:
        return []
    same = np.abs(hue - ground_hue) < 0.35 * abs(paper_hue - ground_hue)
    low, high = np.quantile(behind @ _LUMA, [0.05, 0.95])
    if not leaf.on_light_ground:
        same &= (luma < 1.25 * high) & (luma > 0.2 * low)
    else:
        same &= luma > 0.4 * low
    inner = (same & (away_mm > 1.5) & ~region.ground & ~region.hidden).astype(np.uint8)
    depth = cv2.distanceTransform(np.pad(inner, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    count, labels, stats, _ = cv2.connectedComponentsWithStats(inner, connectivity=8)
    out = []
    for label in range(1, count):
        part = labels == label
        area = float(stats[label, cv2.CC_STAT_AREA]) * small_mm**2
        radius = float(depth[part].max()) * small_mm
        if area >= SMALLEST_MM2 and radius >= 0.4 and area < 12.0 * radius**2:
            out.append(part)
    return out


def _hue(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Red minus blue over the sum: the same for a colour in light and in shade."""
    total = light.sum(axis=-1)
    return np.asarray((light[..., 0] - light[..., 2]) / np.maximum(total, 1e-3), dtype=np.float32)


def _measure(pixels: Pixels, leaf: Leaf, part: Mask, px_mm: float, kind: str) -> Piece | None:
    """Missing area of one part at full resolution."""
    factor = leaf.region.factor
    rows, columns = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
    pad = math.ceil(3.0 / px_mm)
    y0 = max(0, int(rows[0] * factor) - pad)
    y1 = min(pixels.shape[0], int((rows[-1] + 1) * factor) + pad)
    x0 = max(0, int(columns[0] * factor) - pad)
    x1 = min(pixels.shape[1], int((columns[-1] + 1) * factor) + pad)
    near = _enlarged(part, factor, (x0, y0, x1, y1))
    reach = 2 * max(2, round(0.5 / px_mm)) + 1
    grown = np.asarray(cv2.dilate(near.astype(np.uint8), np.ones((reach, reach), np.uint8))) > 0
    light = light_of(pixels[y0:y1, x0:x1])
    paper_mask = _enlarged(leaf.region.leaf, factor, (x0, y0, x1, y1)) & ~grown
    core = np.asarray(cv2.erode(near.astype(np.uint8), np.ones((3, 3), np.uint8))) > 0
    core = core if core.sum() >= 6 else near
    if paper_mask.sum() < 20:
        return None
    ground = np.median(light[core], axis=0)
    luma = light[paper_mask] @ _LUMA
    bright = luma >= np.quantile(luma, 0.45)
    paper = np.median(light[paper_mask][bright], axis=0)
    way = paper - ground
    share = np.clip(((light - ground) @ way) / max(float(way @ way), 1e-9), -0.3, 1.3)
    x = (np.arange(x0, x1) + 0.5)[None, :]
    y = (np.arange(y0, y1) + 0.5)[:, None]
    away = distances({side: leaf.limits[side] for side in SIDES}, x, y)
    area = _area(share, list(away.values()), grown, core)
    edge = np.minimum.reduce(list(away.values()))
    on_line = float(np.sum((np.abs(edge) <= 0.5) & near)) if kind == "edge" else 0.0
    outline, _ = cv2.findContours(near.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    rim = max(0.0, sum(cv2.arcLength(ring, True) for ring in outline) - on_line)
    return Piece(kind, (x0, y0, x1, y1), area, rim, on_line)


def _area(share: NDArray[np.float32], away: list[Array], grown: Mask, core: Mask) -> float:
    """Area [px^2] where the share of paper is below one half, its rim drawn between pixels."""
    size = share.size
    fine = 4 if size < 1_000_000 else 2 if size < 4_000_000 else 1
    full = share.shape[1] * fine, share.shape[0] * fine

    def enlarge(plane: NDArray[np.floating] | Mask, how: int) -> NDArray[np.float32]:
        return np.asarray(cv2.resize(np.asarray(plane, np.float32), full, interpolation=how))

    open_ = enlarge(share, cv2.INTER_CUBIC) < 0.5
    open_ &= enlarge(grown, cv2.INTER_NEAREST) > 0.5
    _, labels = cv2.connectedComponents(open_.astype(np.uint8), connectivity=8)
    touched = np.unique(labels[enlarge(core, cv2.INTER_NEAREST) > 0.5])
    joined = np.isin(labels, touched[touched > 0])
    weight = joined.astype(np.float32)
    for distance in away:
        weight *= np.clip(enlarge(distance, cv2.INTER_LINEAR) * fine + 0.5, 0.0, 1.0)
    return float(weight.sum()) / fine**2


def _enlarged(mask: Mask, factor: float, box: tuple[int, int, int, int]) -> Mask:
    """The part of a coarse mask in a box of the full picture, at full resolution."""
    x0, y0, x1, y1 = box
    columns = np.minimum(((np.arange(x0, x1) + 0.5) / factor).astype(int), mask.shape[1] - 1)
    rows = np.minimum(((np.arange(y0, y1) + 0.5) / factor).astype(int), mask.shape[0] - 1)
    return np.asarray(mask[np.ix_(rows, columns)])
