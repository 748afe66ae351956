"""Whether one of two scans was sharpened or softened (descreened, out of focus) by a program.

Around matched print the finest detail is set against the coarser detail of the same places, in
each picture by itself, so that neither tone nor contrast counts and nothing is interpolated.
The same optics give the same share twice. On planted pairs, washed and laid anew, at 100 to
300 dpi, the share after over that before came to 0.97 to 1.01; an unsharp mask of 0.3 gave 1.16
to 1.20, of 0.5 1.26 to 1.33; a blur of 0.6 px (sigma) 0.56 to 0.70, of 1.6 px 0.18 to 0.31.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
Points = NDArray[np.float64]

# Beyond the first a pair was not scanned alike. Beyond the second, inks of planted pairs that had
# not changed began to be called changed (first seen at 1.26 and at 0.28).
ALIKE = (0.88, 1.12)
INKS_HOLD = (0.5, 1.22)
_HALF_PX = 48
_RIM_PX = 8
_PLACES = 400
_USED = 60
_LEAST = 8
_PRINT = 8.0
_SAME_SCALE = 0.05


def detail_ratio(before: Grey, after: Grey, points: Points, found: Points) -> float | None:
    """Share of finest detail after over that before [-]; None where too little print tells.

    Parameters
    ----------
    before, after
        grey pictures in sRGB encoding
    points, found
        matched places (n, 2) [px], x before y, in the one and in the other

    None also where the two differ in resolution by more than 5 %: detail is then not the same.
    """
    if len(points) < _LEAST or abs(_scale(points, found) - 1.0) > _SAME_SCALE:
        return None
    step = max(1, len(points) // _PLACES)
    ratios = []
    for one, other in zip(points[::step], found[::step], strict=True):
        first, second = _window(before, one), _window(after, other)
        if first is None or second is None:
            continue
        (fine, coarse), (fine_after, coarse_after) = _detail(first), _detail(second)
        if coarse < _PRINT or coarse_after < _PRINT or fine <= 0:
            continue
        ratios.append((coarse, (fine_after / coarse_after) / (fine / coarse)))
    if len(ratios) < _LEAST:
        return None
    strongest = sorted(ratios, reverse=True)[:_USED]
    return float(np.median([ratio for _, ratio in strongest]))


def _scale(points: Points, found: Points) -> float:
    wide, wide_after = (float(np.hypot(*at.std(axis=0))) for at in (points, found))
    return wide_after / wide if wide > 0 else 0.0


def _window(grey: Grey, middle: Points) -> NDArray[np.float32] | None:
    x, y = (round(float(value)) - _HALF_PX for value in middle)
    side = 2 * _HALF_PX
    if x < 0 or y < 0 or x + side > grey.shape[1] or y + side > grey.shape[0]:
        return None
    return grey[y : y + side, x : x + side].astype(np.float32)


def _detail(window: NDArray[np.float32]) -> tuple[float, float]:
    """Standard deviation of what is finer than 1 px, and of 2 to 6 px [grey levels]."""
    smooth = [cv2.GaussianBlur(window, (0, 0), sigma) for sigma in (1.0, 2.0, 6.0)]
    inner = slice(_RIM_PX, -_RIM_PX)
    fine, coarse = window - smooth[0], smooth[1] - smooth[2]
    return float(np.std(fine[inner, inner])), float(np.std(coarse[inner, inner]))


def sharpness_sentence(ratio: float | None) -> str:
    """What to tell of a pair with this share of detail; "" when both were scanned alike."""
    if ratio is None or ALIKE[0] <= ratio <= ALIKE[1]:
        return ""
    if ratio > 1:
        cause, other = "sharpened by the scanner's program, or in better focus", "smoothed or soft"
    else:
        cause, other = "descreened or smoothed by a program, or out of focus", "sharpened"
    return (
        f"The second picture has {100 * ratio:.0f} % of the first one's finest detail: it was "
        f"{cause}; or the first was {other}. Edges of print and strip move by it and inks seem to "
        "change. Scan both with sharpening, descreening and smoothing off."
    )
