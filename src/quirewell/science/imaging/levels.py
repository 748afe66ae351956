"""The two pictures at a smaller size, and the way back to their own pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.subset_bands import Pictures

Real = NDArray[np.float64]
Grey = NDArray[np.generic]
Mask = NDArray[np.bool_]

COARSE_PX = 2100


@dataclass(frozen=True, slots=True)
class Level:
    """Pictures at one size; ``scale1`` and ``scale2`` (x, y): own pixels in one of the level's,
    for before and after."""

    pictures: Pictures
    scale1: Real
    scale2: Real

    def down_before(self, points: Real) -> Real:
        """Points of the before picture in pixels of the level."""
        return (points + 0.5) / self.scale1 - 0.5

    def down_after(self, points: Real) -> Real:
        """Points of the after picture in pixels of the level."""
        return (points + 0.5) / self.scale2 - 0.5

    def up_before(self, points: Real) -> Real:
        """Points of the level in pixels of the before picture."""
        return (points + 0.5) * self.scale1 - 0.5

    def up_after(self, points: Real) -> Real:
        """Points of the level in pixels of the after picture."""
        return (points + 0.5) * self.scale2 - 0.5

    @property
    def per_px(self) -> float:
        """Own pixels of the after picture in one of the level's."""
        return float(np.sqrt(self.scale2[0] * self.scale2[1]))


def shrinks(longest_px: float) -> list[float]:
    """How many times smaller each level is, coarse to fine; the last is 1."""
    out = [1.0]
    while longest_px / out[-1] > COARSE_PX:
        out.append(out[-1] * (4.0 if longest_px / out[-1] > 2.5 * COARSE_PX else 2.0))
    return out[::-1]


def level_of(
    before: Grey,
    after: Grey,
    before_mask: Mask | None,
    after_mask: Mask | None,
    shrink: float,
    ratio: float = 1.0,
    blur_px: float = 0.0,
) -> Level:
    """Both pictures ``shrink`` times smaller than the coarser of the two.

    ``ratio``: pixels of the after picture in one pixel of the before picture.
    """
    # Between 0.8 and 1.25 the finer one is left as it is: nothing is lost and nothing aliases.
    own1 = shrink / ratio if ratio < 0.8 else shrink
    own2 = shrink * ratio if ratio > 1.25 else shrink
    first, scale1 = _shrunk(before, own1)
    second, scale2 = _shrunk(after, own2)
    one, two = (
        _eroded(_shrunk_mask(mask, picture.shape), blur_px)
        for mask, picture in ((before_mask, first), (after_mask, second))
    )
    return Level(Pictures(first, second, one, two, blur_px), scale1, scale2)


def _shrunk(picture: Grey, shrink: float) -> tuple[Grey, Real]:
    if shrink <= 1.0:
        return picture, np.ones(2)
    height, width = picture.shape
    size = (max(16, round(width / shrink)), max(16, round(height / shrink)))
    real: NDArray[Any] = picture
    small = cv2.resize(real, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small), np.array([width / size[0], height / size[1]])


def _eroded(mask: NDArray[np.uint8] | None, blur_px: float) -> NDArray[np.uint8] | None:
    """The mask without the pixels into which a blur carries what lies beside it."""
    if mask is None or blur_px <= 0:
        return mask
    side = 2 * math.ceil(2 * blur_px) + 1
    small = cv2.erode(mask, np.ones((side, side), np.uint8), borderValue=1)
    return np.asarray(small, dtype=np.uint8)


def _shrunk_mask(mask: Mask | None, shape: tuple[int, ...]) -> NDArray[np.uint8] | None:
    if mask is None:
        return None
    plain = np.ascontiguousarray(mask).view(np.uint8)
    if mask.shape == shape:
        return plain
    small = cv2.resize(plain * np.uint8(255), (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return (np.asarray(small) > 250).astype(np.uint8)
