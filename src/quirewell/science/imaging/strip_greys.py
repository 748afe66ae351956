"""The strip's grey steps read in a scan.

A scanner that was left to itself may choose its exposure anew for each scan; then colours of
two scans cannot be compared. The same six greys in both show it (:mod:`.paper_change`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_srgb
from quirewell.science.imaging.strip import (
    GREY_LEFTS_MM,
    GREY_WIDTH_MM,
    MARK_MM,
    MARK_TOP_MM,
    STRIP_HEIGHT_MM,
    STRIP_LENGTH_MM,
    StripFound,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StripGreysRead:
    """Grey steps of a strip in one picture, darkest first.

    ``srgb`` (6, 3) are mean values, 0 to 1; ``steps_L`` (6,) their lightness CIELAB L*;
    ``u_L`` (6,) standard errors from the grain of each step. NaN where out of the picture.
    """

    srgb: Array
    steps_L: Array
    u_L: Array


def read_greys(pixels: NDArray[np.uint8 | np.uint16], found: StripFound) -> StripGreysRead | None:
    """Mean colours of the strip's steps; None when fewer than three are in the picture.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding, 8 or 16 bit
    found
        the strip in it (:func:`~quirewell.science.imaging.strip.find_strip`)
    """
    top = float(np.iinfo(pixels.dtype).max)
    srgb, spread = np.full((6, 3), np.nan), np.full(6, np.nan)
    for index, left in enumerate(GREY_LEFTS_MM):
        part = _patch(pixels, found, left)
        if part is None:
            continue
        values = part.reshape(-1, 3).astype(np.float64) / top
        srgb[index] = values.mean(axis=0)
        spread[index] = values[:, 1].std() / np.sqrt(max(1.0, values.shape[0] / 9.0))
    if int(np.isfinite(srgb[:, 0]).sum()) < 3:
        return None
    seen = np.isfinite(srgb[:, 0])
    steps, u = np.full(6, np.nan), np.full(6, np.nan)
    steps[seen] = lab_from_srgb(srgb[seen])[:, 0]
    above = lab_from_srgb(np.clip(srgb[seen] + spread[seen, None], 0.0, 1.0))[:, 0]
    u[seen] = np.abs(above - steps[seen]) + 0.01
    return StripGreysRead(srgb, steps, u)


def _patch(
    pixels: NDArray[np.uint8 | np.uint16], found: StripFound, left_mm: float
) -> NDArray[np.uint8 | np.uint16] | None:
    """The middle of a step as a square that turning cannot carry over its rim."""
    corners = found.box_px
    x = (left_mm + GREY_WIDTH_MM / 2) / STRIP_LENGTH_MM
    y = (MARK_TOP_MM + MARK_MM / 2) / STRIP_HEIGHT_MM
    across, down = corners[1] - corners[0], corners[3] - corners[0]
    middle = corners[0] + x * across + y * down
    px_per_mm = float(np.hypot(*across)) / STRIP_LENGTH_MM
    half = int(0.3 * MARK_MM * px_per_mm)
    if half < 1:
        return None
    rows = slice(int(middle[1]) - half, int(middle[1]) + half)
    columns = slice(int(middle[0]) - half, int(middle[0]) + half)
    tall, wide = pixels.shape[:2]
    if min(rows.start, columns.start) < 0 or rows.stop > tall or columns.stop > wide:
        return None
    return pixels[rows, columns]
