"""A start that can be believed: a few large patches looked for all round where they should be.

The after picture, reduced, is laid onto the before picture by a guess. Patches of the before
picture are then searched within some pixels (normalised correlation). A patch counts only when
its best place is clearly better than every other: a halftone has many equally good ones and
has no say. What counts must agree among itself.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.levels import Level
from quirewell.science.imaging.spline_field import Knots, SplineField, fit_field

Real = NDArray[np.float64]

_ALONG = 22
_HALF_PX = 20
_SEARCHES_PX = (12, 40)
_LEAST_NCC = 0.35
_LEAST_LEAD = 0.12
_PEAK_PX = 3
_AGREE_PX = 3.0
_LEAST = 6
_LEAST_SHARE = 0.4


def anchored(level: Level, affine: Real) -> SplineField | None:
    """A smooth field through the patches found near where ``affine`` puts them, else None.

    ``affine`` (2, 3) and the field are in the pictures' own pixels, before to after. Where
    too few patches agree, they are looked for once more, farther off.
    """
    for search in _SEARCHES_PX:
        points, moves = _patches(level, affine, search)
        if len(points) >= _LEAST:
            smooth = _most_agree(points, moves)
            if smooth.sum() >= max(_LEAST, _LEAST_SHARE * len(points)):
                return _through(level, affine, points, moves, smooth)
    return None


def _through(
    level: Level, affine: Real, points: Real, moves: Real, smooth: NDArray[np.bool_]
) -> SplineField:
    """The field through the patches that agree."""
    before = level.up_before(points[smooth])
    there = _level_affine(level, affine)
    after = level.up_after((points + moves)[smooth] @ there[:, :2].T + there[:, 2])
    shape = (
        round(level.pictures.before.shape[0] * level.scale1[1]),
        round(level.pictures.before.shape[1] * level.scale1[0]),
    )
    if smooth.sum() < 16:
        return even_field(_plain_affine(before, after), shape)
    return fit_field(before, after, np.full(len(before), 0.5 * level.per_px), shape, most=7).field


def even_field(affine: Real, shape: tuple[int, ...]) -> SplineField:
    """A field without a bend over a picture of ``shape`` (height, width)."""
    knots = Knots(1, 1, float(shape[1] - 1), float(shape[0] - 1))
    return SplineField(np.asarray(affine, dtype=np.float64), knots, np.zeros((4, 4, 2)))


def shift_by_phase(level: Level) -> Real:
    """An affine of a shift alone [own px], by phase correlation of the whole pictures."""
    first, second = level.pictures.before, level.pictures.after
    height = min(first.shape[0], second.shape[0])
    width = min(first.shape[1], second.shape[1])
    parts = [np.nan_to_num(p[:height, :width].astype(np.float32)) for p in (first, second)]
    window = cv2.createHanningWindow((width, height), cv2.CV_32F)
    (dx, dy), _ = cv2.phaseCorrelate(parts[0], parts[1], window)
    scale = level.scale2 / level.scale1
    return np.array([[scale[0], 0.0, dx * level.scale2[0]], [0.0, scale[1], dy * level.scale2[1]]])


def _level_affine(level: Level, affine: Real) -> Real:
    """The affine in pixels of the level."""
    linear = affine[:, :2] * level.scale1[None, :] / level.scale2[:, None]
    origin = level.down_after(affine[:, :2] @ level.up_before(np.zeros(2)) + affine[:, 2])
    return np.column_stack([linear, origin])


def _patches(level: Level, affine: Real, search: int) -> tuple[Real, Real]:
    """Centres and moves [px of the level, before] of the patches that have one best place."""
    before = np.asarray(np.nan_to_num(level.pictures.before), dtype=np.float32)
    height, width = before.shape
    warp = _level_affine(level, affine)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    after = np.nan_to_num(level.pictures.after.astype(np.float32))
    laid = cv2.warpAffine(after, warp, (width, height), flags=flags, borderMode=cv2.BORDER_REFLECT)
    known = (
        np.ones(after.shape, np.uint8)
        if level.pictures.after_mask is None
        else level.pictures.after_mask
    )
    nearest = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    paper = np.asarray(cv2.warpAffine(known, warp, (width, height), flags=nearest), np.uint8)
    if level.pictures.before_mask is not None:
        paper = np.minimum(paper, level.pictures.before_mask)
    half = min(_HALF_PX, (min(height, width) - 6) // 4)
    search = min(search, 2 * half, min(height, width) // 8)
    step = max(max(height, width) / _ALONG, half)
    rim = half + search
    points, moves = [], []
    for y in _line(height, rim, step):
        for x in _line(width, rim, step):
            if paper[y - half : y + half + 1 : 5, x - half : x + half + 1 : 5].mean() < 0.8:
                continue
            move = _one_best(before, np.asarray(laid), x, y, half, search)
            if move is not None:
                points.append((x, y))
                moves.append(move)
    return np.array(points, dtype=np.float64).reshape(-1, 2), np.array(moves).reshape(-1, 2)


def _line(length: int, rim: int, step: float) -> list[int]:
    count = max(1, int((length - 2 * rim - 1) // step) + 1)
    if length <= 2 * rim:
        return []
    return [round(float(at)) for at in np.linspace(rim, length - rim - 1, count)]


def _one_best(
    before: NDArray[np.float32], laid: NDArray[np.float32], x: int, y: int, half: int, search: int
) -> tuple[float, float] | None:
    patch = before[y - half : y + half + 1, x - half : x + half + 1]
    rim = half + search
    around = laid[y - rim : y + rim + 1, x - rim : x + rim + 1]
    if float(patch.std()) < 1e-6 or float(around.std()) < 1e-6:
        return None
    score = np.asarray(cv2.matchTemplate(around, patch, cv2.TM_CCOEFF_NORMED), np.float32)
    j, i = np.unravel_index(int(np.argmax(score)), score.shape)
    best = float(score[j, i])
    if not best >= _LEAST_NCC or min(i, j) == 0 or max(i, j) == 2 * search:
        return None
    others = score.copy()
    near = (
        slice(max(j - _PEAK_PX, 0), j + _PEAK_PX + 1),
        slice(max(i - _PEAK_PX, 0), i + _PEAK_PX + 1),
    )
    others[near] = -1.0
    if best - float(others.max()) < _LEAST_LEAD:
        return None
    return i - search + _vertex(score[j, i - 1 : i + 2]), j - search + _vertex(
        score[j - 1 : j + 2, i]
    )


def _vertex(three: NDArray[np.float32]) -> float:
    """Top of the parabola through three values, relative to the middle one."""
    curve = float(three[0] - 2 * three[1] + three[2])
    return 0.0 if curve >= -1e-9 else float(0.5 * (three[0] - three[2]) / curve)


def _most_agree(points: Real, moves: Real) -> NDArray[np.bool_]:
    """Patches whose move lies near the median of those around them."""
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    nearest = np.argsort(apart, axis=1)[:, : min(9, len(points))]
    middle = np.median(moves[nearest], axis=1)
    close = np.hypot(*(moves - middle).T) < _AGREE_PX
    if close.sum() < 4:
        return np.asarray(close)
    affine = _plain_affine(points[close], moves[close])
    off = moves - (points @ affine[:, :2].T + affine[:, 2])
    size = np.hypot(*off.T)
    scale = max(float(np.median(size[close])), 0.25)
    return np.asarray(close & (size < 6 * scale))


def _plain_affine(source: Real, target: Real) -> Real:
    design = np.column_stack([source, np.ones(len(source))])
    return np.asarray(np.linalg.lstsq(design, target, rcond=None)[0].T, dtype=np.float64)
