"""Coarse match of two pictures: features, a robust affine, and why there is none.

Both pictures are reduced to about 1200 pixels (halftone dots melt into tone there, so that
features sit on letters and shapes, not on dots), evened in contrast, and matched with
scale-invariant features (``lowe2004``); the affine comes from MAGSAC++ (``barath2020``), which
draws from a fixed seed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
Mask = NDArray[np.bool_]
Affine = NDArray[np.float64]

Reason = Literal["blank before", "blank after", "no agreement", "mirrored"]

_COARSE_PX = 1200
_FEATURES = 4000
_LEAST_FEATURES = 25
_LEAST_INLIERS = 12
_RATIO = 0.8
_REACH_PX = 2.5
_PRINT_CONTRAST = 6.0
_LEAST_PRINTED = 0.02


@dataclass(frozen=True, slots=True)
class CoarseMatch:
    """Affine from before to after (pixel centres at whole numbers), or the reason for none.

    ``affine`` is 2 x 3: (x_after, y_after) = affine (x_before, y_before, 1). ``reach`` [0..1]
    is the share of the featured parts of the page (of 4 x 4) that hold an agreeing feature.
    """

    affine: Affine | None
    inliers: int
    features_before: int
    features_after: int
    reason: Reason | None = None
    reach: float = 0.0

    @property
    def rotation_deg(self) -> float:
        """Rotation from before to after [deg], clockwise as seen (y runs down)."""
        if self.affine is None:
            return math.nan
        return float(math.degrees(math.atan2(self.affine[1, 0], self.affine[0, 0])))


@dataclass(frozen=True, slots=True)
class _Reduced:
    grey: NDArray[np.uint8]
    mask: NDArray[np.uint8]
    to_full: Affine
    printed: float


def coarse_match(
    before: Grey, after: Grey, before_mask: Mask | None = None, after_mask: Mask | None = None
) -> CoarseMatch:
    """Find the affine from ``before`` to ``after`` (greys 0..255, any size), paper only.

    Masks are true on paper; nothing outside them is looked at, so that a scale strip or the
    ground cannot speak for the paper.
    """
    first = _reduce(before, before_mask)
    second = _reduce(after, after_mask)
    # One after the other: each takes some 170 MB while it runs.
    points1, words1 = _features(first)
    points2, words2 = _features(second)
    counts = (len(points1), len(points2))
    for number, reason in ((0, "blank before"), (1, "blank after")):
        if counts[number] < _LEAST_FEATURES:
            return CoarseMatch(None, 0, *counts, reason=reason)  # type: ignore[arg-type]
    affine, inside = _agree(points1, words1, points2, words2)
    if affine is not None:
        full = _compose(second.to_full, _compose(affine, _invert(first.to_full)))
        return CoarseMatch(full, len(inside), *counts, reach=_reach(points1, inside))
    return CoarseMatch(None, len(inside), *counts, reason=_why_not(first, second, points2, words2))


def _why_not(
    first: _Reduced, second: _Reduced, points2: NDArray[np.float64], words2: NDArray[np.float32]
) -> Reason:
    flipped = replace(
        first,
        grey=np.ascontiguousarray(first.grey[:, ::-1]),
        mask=np.ascontiguousarray(first.mask[:, ::-1]),
    )
    affine, _ = _agree(*_features(flipped), points2, words2)
    if affine is not None:
        return "mirrored"
    if first.printed < _LEAST_PRINTED:
        return "blank before"
    return "blank after" if second.printed < _LEAST_PRINTED else "no agreement"


def _reduce(grey: Grey, mask: Mask | None) -> _Reduced:
    height, width = grey.shape
    shrink = min(1.0, _COARSE_PX / max(height, width))
    size = (max(8, round(width * shrink)), max(8, round(height * shrink)))
    small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA))
    paper = np.ones((size[1], size[0]), dtype=np.float32)
    if mask is not None:
        paper = cv2.resize(mask.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA)
        paper = (paper > 250).astype(np.float32)
    even, printed = _even_contrast(small.astype(np.float32), paper)
    reach = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    inner = _bytes(
        cv2.erode(
            paper.astype(np.uint8) * 255, reach, borderType=cv2.BORDER_CONSTANT, borderValue=255
        )
    )
    fx, fy = width / size[0], height / size[1]
    to_full = np.array([[fx, 0.0, 0.5 * fx - 0.5], [0.0, fy, 0.5 * fy - 0.5]])
    return _Reduced(even, inner, to_full, printed)


def _even_contrast(grey: Grey, paper: Grey) -> tuple[NDArray[np.uint8], float]:
    """Divide by local mean and contrast, so that tanning and washing do not matter.

    Also gives the share of the paper [0..1] whose surroundings hold more contrast than a
    scanner's noise.
    """
    sigma = 25.0
    weight = cv2.GaussianBlur(paper, (0, 0), sigma) + 1e-6
    mean = cv2.GaussianBlur(grey * paper, (0, 0), sigma) / weight
    rest = (cv2.GaussianBlur(grey, (0, 0), 0.8) - mean) * paper
    spread = np.sqrt(cv2.GaussianBlur(rest * rest, (0, 0), sigma) / weight)
    on_paper = spread[paper > 0]
    typical = float(np.median(on_paper)) if on_paper.size else 0.0
    printed = float(np.mean(on_paper > _PRINT_CONTRAST)) if on_paper.size else 0.0
    even = np.clip(128 + 40 * rest / (spread + max(2.5, 0.25 * typical)), 0, 255)
    return even.astype(np.uint8), printed


def _features(picture: _Reduced) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    finder = cv2.SIFT.create(nfeatures=_FEATURES, contrastThreshold=0.03)
    points, words = finder.detectAndCompute(picture.grey, picture.mask)
    if len(points) == 0:
        return np.zeros((0, 2)), np.zeros((0, 128), dtype=np.float32)
    places = np.array([point.pt for point in points], dtype=np.float64)
    # Square roots of the unit-sum words compare better than the words (arandjelovic2012).
    roots = np.sqrt(words / (words.sum(axis=1, keepdims=True) + 1e-9)).astype(np.float32)
    return places, roots


def _agree(
    points1: NDArray[np.float64],
    words1: NDArray[np.float32],
    points2: NDArray[np.float64],
    words2: NDArray[np.float32],
) -> tuple[Affine | None, NDArray[np.float64]]:
    """The affine, and the places in the first picture that agree with it."""
    nothing = np.zeros((0, 2))
    if min(len(points1), len(points2)) < _LEAST_INLIERS:
        return None, nothing
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(words1, words2, k=2)
    kept = [p[0] for p in pairs if len(p) == 2 and p[0].distance < _RATIO * p[1].distance]
    if len(kept) < _LEAST_INLIERS:
        return None, nothing
    source = points1[[m.queryIdx for m in kept]]
    target = points2[[m.trainIdx for m in kept]]
    found, flags = cv2.estimateAffine2D(
        source,
        target,
        method=cv2.USAC_MAGSAC,
        ransacReprojThreshold=_REACH_PX,
        maxIters=10000,
        confidence=0.9999,
    )
    affine = np.asarray(found, dtype=np.float64) if found is not None else np.zeros((0, 3))
    if affine.shape != (2, 3):
        return None, nothing
    inside = source[np.asarray(flags).ravel().astype(bool)]
    inside = np.unique(np.round(inside), axis=0)
    if len(inside) < _LEAST_INLIERS or not _plausible(affine):
        return None, inside
    return affine, inside


def _reach(points: NDArray[np.float64], inside: NDArray[np.float64]) -> float:
    low, high = points.min(axis=0), points.max(axis=0) + 1e-6
    edges = [np.linspace(low[i], high[i], 5) for i in (0, 1)]
    featured = np.histogram2d(points[:, 0], points[:, 1], bins=edges)[0] >= 5
    agreeing = np.histogram2d(inside[:, 0], inside[:, 1], bins=edges)[0] >= 1
    return float((featured & agreeing).sum() / max(int(featured.sum()), 1))


def _plausible(affine: Affine) -> bool:
    """A leaf may be turned and scanned at another resolution, not sheared or flipped."""
    scales = np.linalg.svd(affine[:, :2], compute_uv=False)
    return bool(np.linalg.det(affine[:, :2]) > 0 and scales[1] > 0 and scales[0] / scales[1] < 1.1)


def _bytes(picture: object) -> NDArray[np.uint8]:
    return np.asarray(picture, dtype=np.uint8)


def _as3(affine: Affine) -> Affine:
    return np.vstack([affine, [0.0, 0.0, 1.0]])


def _compose(second: Affine, first: Affine) -> Affine:
    out: Affine = (_as3(second) @ _as3(first))[:2]
    return out


def _invert(affine: Affine) -> Affine:
    return np.asarray(np.linalg.inv(_as3(affine))[:2], dtype=np.float64)
