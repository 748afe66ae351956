"""Subset correlation over a whole picture, in bands of rows, so that memory stays small."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.compiled import in_bands
from quirewell.science.imaging.subset import (
    COVERED,
    FORGOTTEN_PX,
    FOUND,
    find_subsets,
    spline_coefficients,
)

Real = NDArray[np.float64]
Grey = NDArray[np.generic]
Mask = NDArray[np.bool_]

_BAND_POINTS_PX = 256
_THIN_BLUR_PX = 0.6
_THIN_RADIUS_PX = 20
_NO_MASK = np.zeros((1, 1), dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Subsets:
    """What came of the subsets round ``points`` (n, 2) [px before, whole numbers].

    ``places`` (n, 2, 6): the place in the after picture as polynomials in t, s (-1..1 across
    the subset) on 1, t, s, t2, ts, s2 [px]; ``found``: whether the rounds settled; ``zncc``:
    correlation of the grey values; ``contrast``: standard deviation of the before subset
    [grey]; ``noise``: residual [grey of before]; ``covariance`` (n, 3): xx, yy, xy of the
    displacement [px2, after picture]; ``bound`` (n,): standard deviation that a white residual
    of that size would leave [px]; ``covered``: whether the subset had pixels enough.
    """

    points: Real
    places: Real
    found: Mask
    zncc: Real
    contrast: Real
    noise: Real
    covariance: Real
    bound: Real
    covered: Mask

    @property
    def at(self) -> Real:
        """The points found again [px after], (n, 2)."""
        return self.places[:, :, 0]

    @property
    def u(self) -> Real:
        """Standard uncertainty of x and y [px after], (n, 2); nan where not found."""
        return np.sqrt(self.covariance[:, :2])


@dataclass(frozen=True, slots=True)
class Pictures:
    """Two grey pictures of one level, with masks (uint8, 0 off the paper) or None.

    ``blur_px``: sigma of a Gaussian laid over both before matching; 0 for none.
    """

    before: Grey
    after: Grey
    before_mask: NDArray[np.uint8] | None = None
    after_mask: NDArray[np.uint8] | None = None
    blur_px: float = 0.0


def match_subsets(
    pictures: Pictures,
    points: Real,
    places: Real,
    radius: int,
    *,
    order: int = 1,
    least: float = 0.5,
    reach_px: float = 4.0,
) -> Subsets:
    """Find the subsets of ``radius`` [px] round ``points`` again, starting from ``places``.

    ``order`` 1 lets a subset stretch and shear, 2 bend as well. ``least``: share of a subset
    that must show paper in both; ``reach_px``: how far the answer may lie from its start.
    """
    points = np.round(points)
    rank = np.lexsort((points[:, 0], points[:, 1]))
    places = np.ascontiguousarray(places, dtype=np.float64)[rank]
    sorted_points = points[rank]
    quality = np.full((len(points), 9), np.nan)
    state = np.full(len(points), COVERED, dtype=np.int8)
    chunks = _chunks(sorted_points[:, 1])

    def work(first: int, last: int) -> None:
        for chunk in chunks[first:last]:
            band = _Band.cut(pictures, sorted_points[chunk], places[chunk], radius, reach_px)
            find_subsets(
                band.before, band.use, pictures.before_mask is not None,
                band.after, band.there, pictures.after_mask is not None,
                band.corner, band.origin,
                np.ascontiguousarray(sorted_points[chunk, 0]),
                np.ascontiguousarray(sorted_points[chunk, 1]),
                places[chunk], radius, order, least, reach_px, quality[chunk], state[chunk],
            )  # fmt: skip

    in_bands(work, len(chunks), 1)
    return _gathered(points, places, quality, state, np.argsort(rank))


def _chunks(ys: Real) -> list[slice]:
    """Slices of points, sorted by y, that lie within one band of rows."""
    if not ys.size:
        return []
    bands = np.floor(ys / _BAND_POINTS_PX).astype(int)
    edges = [0, *(np.flatnonzero(np.diff(bands)) + 1).tolist(), len(ys)]
    return [slice(a, b) for a, b in pairwise(edges)]


def _gathered(
    points: Real, places: Real, quality: Real, state: NDArray[np.int8], back: NDArray[np.intp]
) -> Subsets:
    places, quality, state = places[back], quality[back], state[back]
    found = state == FOUND
    quality = np.where(found[:, None], quality, np.nan)
    return Subsets(
        points, places, found, quality[:, 0], quality[:, 2], quality[:, 3],
        _turned(quality[:, 4:7], places), np.sqrt(np.maximum(quality[:, 7], quality[:, 8])),
        state != COVERED,
    )  # fmt: skip


def _turned(covariance: Real, places: Real) -> Real:
    """Covariance of a move in the before picture, carried into the after picture."""
    slopes = places[:, :, 1:3]
    size = np.sqrt(np.abs(np.linalg.det(slopes))) + 1e-12
    turn = slopes / size[:, None, None]
    xx, yy, xy = covariance.T
    full = np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -2)
    out = turn @ full @ turn.transpose(0, 2, 1)
    return np.stack([out[:, 0, 0], out[:, 1, 1], out[:, 0, 1]], axis=-1)


@dataclass(frozen=True, slots=True)
class _Band:
    before: NDArray[np.float32]
    use: NDArray[np.uint8]
    after: NDArray[np.float32]
    there: NDArray[np.uint8]
    corner: Real
    origin: Real

    @staticmethod
    def cut(pictures: Pictures, points: Real, places: Real, radius: int, reach_px: float) -> _Band:
        rim = radius + 3
        box1 = _box(points, np.full(2, float(rim)), pictures.before.shape, pictures.blur_px)
        spread = np.abs(places[:, :, 1:]).sum(axis=2)
        span = np.nanmax(spread, axis=0) + reach_px + FORGOTTEN_PX
        box2 = _box(places[:, :, 0], span, pictures.after.shape, pictures.blur_px)
        before = _smooth(pictures.before, box1, pictures.blur_px)
        after = spline_coefficients(_smooth(pictures.after, box2, pictures.blur_px))
        use, there = _NO_MASK, _NO_MASK
        if pictures.before_mask is not None:
            use = np.ascontiguousarray(pictures.before_mask[box1])
        if pictures.after_mask is not None:
            there = np.ascontiguousarray(pictures.after_mask[box2])
        height, width = pictures.after.shape
        # Near a picture's edge a blur sees pixels that are none.
        edge = 2 + math.ceil(3 * pictures.blur_px)
        # Blurred pixels are alike: every second one of a large subset tells as much, measured.
        thin = pictures.blur_px >= _THIN_BLUR_PX and radius >= _THIN_RADIUS_PX
        return _Band(
            before, use, after, there,
            np.array([box1[1].start, box1[0].start], dtype=np.float64),
            np.array([box2[1].start, box2[0].start, width, height, edge, thin], dtype=np.float64),
        )  # fmt: skip


def _box(places: Real, span: Real, shape: tuple[int, ...], blur_px: float) -> tuple[slice, slice]:
    """Rows and columns within ``span`` of the places, and what a blur looks at beyond."""
    more = np.ceil(span + 4 * blur_px)
    low = np.floor(np.nanmin(places, axis=0) - more).astype(int)
    high = np.ceil(np.nanmax(places, axis=0) + more).astype(int) + 1
    height, width = shape
    x0, y0 = np.clip(low, 0, [max(width - 8, 0), max(height - 8, 0)])
    x1 = int(np.clip(high[0], x0 + min(8, width), width))
    y1 = int(np.clip(high[1], y0 + min(8, height), height))
    return slice(int(y0), y1), slice(int(x0), x1)


def _smooth(picture: Grey, box: tuple[slice, slice], blur_px: float) -> NDArray[np.float32]:
    # Always a copy: the after band becomes spline coefficients in place.
    part = np.array(picture[box], dtype=np.float32, order="C", copy=True)
    if not np.isfinite(part.sum()):
        part = np.nan_to_num(part, nan=0.0, posinf=0.0, neginf=0.0)
    if blur_px > 0:
        part = np.asarray(
            cv2.GaussianBlur(part, (0, 0), blur_px, borderType=cv2.BORDER_REFLECT), np.float32
        )
    return part
