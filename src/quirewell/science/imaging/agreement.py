"""Where the print of two pictures laid on each other disagrees: a hand, glare, a mend, lost print.

Local correlation in windows of 5 mm, of pictures smoothed by 0.4 mm so that halftone dots do not
count. It is free of tone and contrast: print that faded still agrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Plane = NDArray[np.float32]

_WINDOW_MM = 5.0
_SMOOTH_MM = 0.4
_PRINT = 6.0
_AGREE = 0.35
_LEAST_MM2 = 150.0


@dataclass(frozen=True, slots=True)
class Unlike:
    """A part that disagrees: its area [mm2] and its middle (x, y) [px]."""

    area_mm2: float
    middle_px: tuple[float, float]


def unlike_parts(before: Grey, after: Grey, seen: Mask, px_mm: float) -> tuple[Unlike, ...]:
    """Connected parts of 150 mm2 or more where print in ``before`` is not that in ``after``,
    largest first. Both on one grid of pixels of ``px_mm`` [mm], sRGB encoded; ``seen`` is true
    where both show the leaf."""
    side = max(5, round(_WINDOW_MM / px_mm)) | 1
    one, other = (_smooth(grey, px_mm) for grey in (before, after))
    whole = _mean(seen.astype(np.float32), side) > 0.999
    first, second = _mean(one, side), _mean(other, side)
    spread = np.maximum(_mean(one * one, side) - first**2, 0.0)
    spread_after = np.maximum(_mean(other * other, side) - second**2, 0.0)
    together = _mean(one * other, side) - first * second
    alike = together / np.sqrt(np.maximum(spread * spread_after, 1e-6))
    unlike = whole & (spread > _PRINT**2) & ((alike < _AGREE) | (spread_after < 1.0))
    small = max(3, round(1.0 / px_mm)) | 1
    opened = cv2.morphologyEx(
        unlike.astype(np.uint8), cv2.MORPH_OPEN, np.ones((small, small), np.uint8)
    )
    count, _, stats, middles = cv2.connectedComponentsWithStats(np.asarray(opened, np.uint8))
    areas = [float(stats[label, cv2.CC_STAT_AREA]) * px_mm**2 for label in range(count)]
    found = [
        Unlike(areas[label], (float(middles[label][0]), float(middles[label][1])))
        for label in range(1, count)
        if areas[label] >= _LEAST_MM2
    ]
    return tuple(sorted(found, key=lambda part: -part.area_mm2))


def _smooth(grey: Grey, px_mm: float) -> Plane:
    sigma = max(0.5, _SMOOTH_MM / px_mm)
    return np.asarray(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), sigma), np.float32)


def _mean(plane: Plane, side: int) -> Plane:
    kept = cv2.boxFilter(plane, cv2.CV_32F, (side, side), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(kept, np.float32)
