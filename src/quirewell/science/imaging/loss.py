"""Missing paper: chips and lost corners inside the fitted outline, and holes.

The rim of a piece is drawn where linear light is half-way between ground and paper, a quarter
of a pixel fine. Holes on a dark ground can look like solid ink: they are counted only
where their colour is that of the ground, are few and compact, and add their own doubt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.curved import crooked_depth
from quirewell.science.imaging.edges import SIDES, Line
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.partial import open_area

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
Mask = NDArray[np.bool_]

SMALLEST_MM2 = 1.0
_DEPTH_MM = 0.45
# A long, shallow piece is an edge that is not straight.
_MEAN_DEPTH_MM = 0.35
_MOST_HOLES = 5
_ROUGH_MM = 0.12
_ASKEW_SHARE = 0.5
_RIM_U_PX = 0.06
_LUMA = np.array([0.2126729, 0.7151522, 0.0721750], dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Piece:
    """A place where paper is missing: ``kind`` "edge" or "hole", its box (x0, y0, x1, y1) and
    area in pixels, the length of its rim and of the stretch of outline it takes [px], and the
    part of its area that an edge running gently askew explains."""

    kind: str
    box_px: tuple[int, int, int, int]
    area_px: float
    rim_px: float
    outline_px: float
    askew_px: float = 0.0


@dataclass(frozen=True, slots=True)
class Loss:
    """All missing paper [px^2] with its standard uncertainty.

    ``askew`` are pieces between an edge that is not straight and its line: not missing.
    """

    area_px: float
    u_rim_px: float
    u_outline_px: float
    u_holes_px: float
    pieces: tuple[Piece, ...]
    warnings: tuple[str, ...]
    askew: tuple[Piece, ...] = ()


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
    askew = [piece for piece in pieces if piece.askew_px >= _ASKEW_SHARE * piece.area_px]
    pieces = [piece for piece in pieces if piece not in askew]
    says = _bow_sentences(leaf, px_mm) + _askew_sentences(askew, px_mm)
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
    return replace(_summed(leaf, pieces, holes, tuple(says)), askew=tuple(askew))


def _bow_sentences(leaf: Leaf, px_mm: float) -> list[str]:
    return [
        f"The {side} edge is not straight: it bows by {px_mm * edge.curve.bow_px:.2f} mm. Missing "
        "paper is counted from its curve, sizes from the straight line through it."
        for side, edge in leaf.edges.items()
        if edge.curve is not None
    ]


def _askew_sentences(askew: list[Piece], px_mm: float) -> list[str]:
    if not askew:
        return []
    area = px_mm**2 * sum(piece.area_px for piece in askew)
    return [
        f"{area:.1f} mm2 between an edge that runs askew and its straight line "
        f"({len(askew)} stretch{'es' * (len(askew) > 1)}) are not counted as missing."
    ]


def _summed(leaf: Leaf, pieces: list[Piece], holes: list[Piece], says: tuple[str, ...]) -> Loss:
    edge_u = max((edge.u_px for edge in leaf.edges.values()), default=0.0)
    both = pieces + holes
    return Loss(
        sum(piece.area_px for piece in both),
        math.hypot(
            _RIM_U_PX * sum(piece.rim_px for piece in both),
            0.005 * sum(piece.area_px for piece in both),
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


def inward(leaf: Leaf, x: NDArray[np.floating], y: NDArray[np.floating]) -> dict[str, Array]:
    """Distance inward from each limit of a leaf [px], its curve followed where it has one."""
    out = distances({side: leaf.limits[side] for side in SIDES}, x, y)
    for side, edge in leaf.edges.items():
        if edge.curve is not None and side not in leaf.pointed:
            sign = 1.0 if side in ("head", "left") else -1.0
            out[side] = out[side] - sign * edge.curve.at(x if edge.line.level else y)
    return out


def _inside(leaf: Leaf, shape: tuple[int, ...], factor: float) -> Array:
    """Distance inward from the nearest limit, for every pixel of the coarse map [px, full]."""
    x = ((np.arange(shape[1]) + 0.5) * factor)[None, :]
    y = ((np.arange(shape[0]) + 0.5) * factor)[:, None]
    return np.asarray(np.minimum.reduce(list(inward(leaf, x, y).values())))


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
    box = (x0, y0, x1, y1)
    near = _enlarged(part, factor, box)
    reach = 2 * max(2, round(0.5 / px_mm)) + 1
    grown = np.asarray(cv2.dilate(near.astype(np.uint8), np.ones((reach, reach), np.uint8))) > 0
    away = inward(leaf, (np.arange(x0, x1) + 0.5)[None, :], (np.arange(y0, y1) + 0.5)[:, None])
    inside = np.ones(near.shape, np.float32)
    for distance in away.values():
        inside *= np.clip(distance + 0.5, 0.0, 1.0).astype(np.float32)
    if kind == "edge":
        grown |= (inside == 0.0) & _enlarged(leaf.region.ground, factor, box)
    seed = np.asarray(cv2.erode(near.astype(np.uint8), np.ones((3, 3), np.uint8))) > 0
    seed = seed if seed.sum() >= 6 else near
    unseen = _enlarged(leaf.region.hidden, factor, box)
    if (~grown & ~unseen).sum() < 20:
        return None
    found = open_area(light_of(pixels[y0:y1, x0:x1]), seed, grown, inside, unseen, px_mm)
    if kind == "edge":
        found = found.without(_roughness(leaf, found.weight, away, px_mm))
    if kind == "edge" and _at_the_rim(leaf, found.mask & (inside > 0.5), away):
        return None
    edge = np.minimum.reduce(list(away.values()))
    on_line = float(np.sum((np.abs(edge) <= 0.5) & found.mask)) if kind == "edge" else 0.0
    askew = 0.0 if kind == "hole" else _askew(leaf, found.mask & (inside > 0.5), away, box)
    return Piece(kind, box, found.area_px, found.rim_px, on_line, askew)


def _at_the_rim(leaf: Leaf, mask: Mask, away: dict[str, Array]) -> bool:
    """Whether ground reaches a side that is not in the picture: nobody knows what is missing."""
    return any(float(away[side][mask].min(initial=np.inf)) < 2.0 for side in leaf.missing)


def _roughness(
    leaf: Leaf, weight: NDArray[np.float32], away: dict[str, Array], px_mm: float
) -> Mask:
    """Slivers beside a piece no deeper than the unevenness of the edge: they belong to that."""
    out = np.zeros(weight.shape, bool)
    for side, distance in away.items():
        axis = 0 if leaf.limits[side].level else 1  # type: ignore[index]
        shallow = weight.sum(axis=axis) * px_mm < _ROUGH_MM
        columns = shallow[None, :] if axis == 0 else shallow[:, None]
        out |= columns & (distance * px_mm < 2 * _ROUGH_MM)
    return out


def _askew(leaf: Leaf, mask: Mask, away: dict[str, Array], box: tuple[int, int, int, int]) -> float:
    """Part of a piece [px^2] that an edge running gently askew explains."""
    nearest = min(away, key=lambda side: float(away[side][mask].min(initial=np.inf)))
    edge = leaf.edges.get(nearest)  # type: ignore[call-overload]
    if edge is None or edge.course is None:
        return 0.0
    depth = mask.sum(axis=0 if edge.line.level else 1)
    first, last = (box[0], box[2]) if edge.line.level else (box[1], box[3])
    sign = 1.0 if nearest in ("head", "left") else -1.0
    departure = crooked_depth(edge.course, sign, first + 0.5, last + 0.5)
    if edge.curve is not None:
        departure -= sign * edge.curve.at(np.arange(first, last) + 0.5)
    return float(np.minimum(depth, np.maximum(departure + 1.0, 0.0)).sum())


def _enlarged(mask: Mask, factor: float, box: tuple[int, int, int, int]) -> Mask:
    """The part of a coarse mask in a box of the full picture, at full resolution."""
    x0, y0, x1, y1 = box
    columns = np.minimum(((np.arange(x0, x1) + 0.5) / factor).astype(int), mask.shape[1] - 1)
    rows = np.minimum(((np.arange(y0, y1) + 0.5) / factor).astype(int), mask.shape[0] - 1)
    return np.asarray(mask[np.ix_(rows, columns)])
