"""The fold of a wrap in a half-wrap scan: a narrow dark line from head to foot."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.edges import Edge, Line, medians

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
# A fold is a groove, not a point: where a rule would be laid on it (common practice, no source).
FOLD_U_MM = 0.10
_BLOCKS = 50
# Log of lightness; a fold darkens its line by 2 % or more, and half as much again as any other.
_SHALLOWEST = 0.02
_CLEARER = 1.5


def find_fold(
    pixels: Pixels, head: Line, foot: Line, first: float, last: float, px_mm: float, side: str,
    cloudy: bool = False,
) -> Edge | None:  # fmt: skip
    """Look for the fold between columns ``first`` and ``last`` of a half-wrap scan.

    The sheet is cut into bands from head to foot. In each the columns' median lightness is
    compared with its surroundings; a fold is a dip of about half a millimetre seen in nearly
    every band, the blank margins at head and foot included, which no printed rule does.

    Parameters
    ----------
    first, last
        columns to search [px], at mid-height
    px_mm
        rough size of a pixel [mm]
    side
        name of the edge that the fold stands for ("left" or "right")
    cloudy
        light from below, where the paper's own clouds hide the dip in many bands: then its mean
        counts

    Returns
    -------
    Edge or None
        the fold's line; ``u_px`` holds the scatter of the bands and the width of the groove
    """
    if last - first < 6.0 / px_mm:
        return None
    tilt = -0.5 * (head.slope + foot.slope)
    middle = 0.5 * (first + last)
    top, bottom = float(head.at(middle)), float(foot.at(middle))
    bands = np.linspace(top + 1.5 / px_mm, bottom - 1.5 / px_mm, _BLOCKS + 1)
    columns = np.arange(np.floor(first), np.ceil(last), dtype=np.float64)
    profiles = np.array(
        [
            band_lightness(pixels, columns, tilt, low, high, 0.5 * (top + bottom))
            for low, high in itertools.pairwise(bands)
        ]
    )
    dips = _dips(profiles, px_mm)
    score = _mean_score(dips) if cloudy else _score(dips)
    at = int(np.argmax(score))
    aside = np.abs(np.arange(score.size) - at) > 1.5 / px_mm
    rival = float(score[aside].max()) if aside.any() else 0.0
    if score[at] < _SHALLOWEST or score[at] < _CLEARER * rival:
        return None
    return _through(dips, columns, bands, at, tilt, 0.5 * (top + bottom), px_mm, side)


def band_lightness(
    pixels: Pixels, columns: Array, tilt: float, low: float, high: float, middle: float
) -> Array:
    """Median lightness (log of linear green light) of each slanted column of a band."""
    rows = np.arange(low, high, max(1.0, (high - low) / 40.0))
    y = np.tile(rows[:, None], (1, columns.size))
    x = columns[None, :] + tilt * (y - middle)
    a, b = max(0, int(x.min()) - 2), min(pixels.shape[1], int(x.max()) + 3)
    c, d = max(0, int(rows[0]) - 2), min(pixels.shape[0], int(rows[-1]) + 3)
    part = light_of(np.ascontiguousarray(pixels[c:d, a:b, 1]))
    found = cv2.remap(
        part,
        (x - a).astype(np.float32),
        (y - c - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(
        np.log(np.maximum(medians(np.asarray(found, np.float32), 0), 1e-3)), dtype=np.float64
    )


def _dips(profiles: Array, px_mm: float) -> Array:
    """How far each column lies below the darker of its two sides, 0.7 to 2 mm away."""
    near = scipy.ndimage.gaussian_filter1d(profiles, max(0.6, 0.2 / px_mm), axis=1)
    width = max(3, round(1.3 / px_mm))
    away = max(2, round(1.35 / px_mm))
    level = scipy.ndimage.uniform_filter1d(profiles, width, axis=1, mode="nearest")
    left = np.pad(level, ((0, 0), (away, 0)), mode="edge")[:, : level.shape[1]]
    right = np.pad(level, ((0, 0), (0, away)), mode="edge")[:, away:]
    return np.asarray(np.minimum(left, right) - near)


def _score(dips: Array) -> Array:
    """Depth of a dip that 80 % of the bands reach, and one of the margins at head and foot."""
    margin = np.maximum(dips[:2].min(axis=0), dips[-2:].min(axis=0))
    return np.asarray(np.minimum(np.quantile(dips, 0.2, axis=0), margin))


def _mean_score(dips: Array) -> Array:
    """Mean depth of a dip, where it goes on to the margin at head or foot."""
    cut = np.clip(dips, -0.1, 0.2)
    margin = np.maximum(cut[:4].mean(axis=0), cut[-4:].mean(axis=0))
    return np.asarray(np.minimum(cut.mean(axis=0), 2.0 * margin))


def _through(
    dips: Array, columns: Array, bands: Array, at: int, tilt: float, middle: float,
    px_mm: float, side: str,
) -> Edge | None:  # fmt: skip
    """A line through the deepest place of each band near the best column."""
    reach = max(2, round(0.8 / px_mm))
    low, high = max(0, at - 2 * reach), min(columns.size, at + 2 * reach + 1)
    y = 0.5 * (bands[:-1] + bands[1:])
    places = np.full(y.size, np.nan)
    for index, row in enumerate(dips):
        peak = low + int(np.argmax(row[low:high]))
        around = slice(max(0, peak - reach), peak + reach + 1)
        weight = np.maximum(row[around] - 0.3 * row[peak], 0.0)
        if row[peak] > 0.3 * np.median(dips[:, at]) and weight.sum() > 0:
            places[index] = float(np.sum(weight * columns[around]) / weight.sum())
    keep = np.isfinite(places)
    slope, offset, rough = 0.0, 0.0, 0.0
    for _ in range(4):
        if keep.sum() < 8:
            return None
        slope, offset = (float(v) for v in np.polyfit(y[keep] - middle, places[keep], 1))
        miss = np.abs(places - offset - slope * (y - middle))
        rough = 1.4826 * float(np.median(miss[keep]))
        keep = np.isfinite(places) & (miss <= max(3.5 * rough, 0.3))
    u = float(np.hypot(rough / np.sqrt(keep.sum()), FOLD_U_MM / px_mm))
    slant = slope + tilt
    # Columns were sampled at whole numbers counted from the left edges of pixels plus a half.
    line = Line(side, offset + 0.5 - slant * middle, slant)
    return Edge(line, u, rough, float(keep.mean()), 0.0, float(np.median(dips[:, at])))
