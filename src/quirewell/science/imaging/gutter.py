"""A gutter where a leaf has no edge in the picture: the valley towards a facing page.

In a picture of an opened book the paper runs on into the next page. Between the two lies a
shaded valley from head to foot, some millimetres wide and seldom straight.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.imaging.edges import Line, Side
from quirewell.science.imaging.fold import band_lightness

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
_BANDS = 30
# A valley is a tenth darker than both its sides, and found in two bands of three (assumed).
_DEPTH = 0.10
_AGREE = 0.65
_WITHIN_MM = 2.0


@dataclass(frozen=True, slots=True)
class Gutter:
    """The bottom of a gutter as a line, and how far it lies from the rim of the picture [px]."""

    line: Line
    from_rim_px: float


def find_gutter(pixels: Pixels, head: Line, foot: Line, side: Side, px_mm: float) -> Gutter | None:
    """Look for a gutter in the outer third of a leaf whose edge on ``side`` is not in sight.

    Parameters
    ----------
    head, foot
        edges of the leaf, between which to look
    side
        "left" or "right"
    px_mm
        rough size of a pixel [mm]
    """
    width = pixels.shape[1]
    columns = np.arange(0.66 * width, width - 2) if side == "right" else np.arange(2, 0.34 * width)
    tilt = -0.5 * (head.slope + foot.slope)
    middle = float(columns.mean())
    top, bottom = float(head.at(middle)), float(foot.at(middle))
    if columns.size * px_mm < 25.0 or bottom - top < 40.0 / px_mm:
        return None
    bands = np.linspace(top + 3.0 / px_mm, bottom - 3.0 / px_mm, _BANDS + 1)
    half = 0.5 * (top + bottom)
    profiles = np.array(
        [
            band_lightness(pixels, columns, tilt, low, high, half)
            for low, high in itertools.pairwise(bands)
        ]
    )
    depth = _valleys(profiles, px_mm)
    y = 0.5 * (bands[:-1] + bands[1:])
    at = columns[np.argmax(depth, axis=1)]
    deep = depth.max(axis=1) >= _DEPTH
    found = _line_through(at, y, half, deep, _WITHIN_MM / px_mm)
    if found is None:
        return None
    offset, slope = found
    slant = slope + tilt
    line = Line(side, offset + 0.5 - slant * half, slant)
    place = float(line.at(half))
    return Gutter(line, width - place if side == "right" else place)


def _valleys(profiles: Array, px_mm: float) -> Array:
    """How far each column lies below the lighter places within 9 mm on either side of it."""
    smooth = scipy.ndimage.gaussian_filter1d(profiles, 0.5 / px_mm, axis=1, mode="nearest")
    reach = max(3, round(6.0 / px_mm))
    lighter = scipy.ndimage.maximum_filter1d(
        scipy.ndimage.gaussian_filter1d(profiles, 1.5 / px_mm, axis=1, mode="nearest"),
        reach,
        axis=1,
    )
    away = reach // 2 + max(1, round(1.0 / px_mm))
    left = np.pad(lighter, ((0, 0), (away, 0)), mode="edge")[:, : lighter.shape[1]]
    right = np.pad(lighter, ((0, 0), (0, away)), mode="edge")[:, away:]
    depth = np.minimum(left, right) - smooth
    rim = max(2, round(2.0 / px_mm))
    depth[:, :rim] = 0.0
    depth[:, -rim:] = 0.0
    return np.asarray(depth)


def _line_through(
    at: Array, y: Array, half: float, deep: NDArray[np.bool_], within: float
) -> tuple[float, float] | None:
    """The line most deep bands agree with."""
    best: NDArray[np.bool_] | None = None
    for one, other in itertools.combinations(np.flatnonzero(deep), 2):
        slope = (at[other] - at[one]) / (y[other] - y[one])
        if abs(slope) > 0.08:
            continue
        near = deep & (np.abs(at - at[one] - slope * (y - y[one])) <= within)
        if best is None or near.sum() > best.sum():
            best = near
    if best is None or best.mean() < _AGREE:
        return None
    slope, offset = (float(v) for v in np.polyfit(y[best] - half, at[best], 1))
    return offset, slope
