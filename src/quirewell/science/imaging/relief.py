"""What a relief says of a sheet: how much it cockles, how long its creases are.

Cockle is the root mean square height within wavelengths of 5 to 80 mm: shorter ones are paper
texture, longer ones bow, which lamps near the sheet make out of nothing. Creases are ridges and
valleys of curvature, thinned to lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.imaging.integrate import height_mm, slopes_of

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

COCKLE_MM = (5.0, 80.0)
_SMOOTH_MM = 0.35
_LEAST_CREASE_MM = 5.0
_STRONG, _WEAK = 7.0, 3.5
_LEAST_CURVATURE = 0.006
_RIM_MM = 1.5
_ACROSS_MM = 1.5


@dataclass(frozen=True, slots=True)
class Relief:
    """A measured relief.

    ``height`` [mm] (None where it is withheld), ``creases`` true on thinned crease lines,
    ``crease_mm`` their length, ``cockle_um`` the cockle (None where height is), ``slope_deg``
    root mean square tilt over the sheet.
    """

    height: Array | None
    creases: Mask
    crease_mm: float
    cockle_um: float | None
    slope_deg: float


def measure_relief(normals: Array, px_mm: float, flat_fielded: bool) -> Relief:
    """Creases, and with a flat field height and cockle, of normals (height, width, 3).

    Without a flat field a lamp near the sheet makes millimetres of bow that are not there, so
    height and cockle are withheld; creases are too narrow to be touched by it.
    """
    lines = crease_lines(normals, px_mm)
    known = np.isfinite(normals[..., 2])
    tilt = np.degrees(np.arccos(np.clip(normals[..., 2][known], -1, 1)))
    slope = float(np.sqrt(np.mean(tilt**2))) if known.any() else float("nan")
    length = line_length_px(lines) * px_mm
    if not flat_fielded:
        return Relief(None, lines, length, None, slope)
    height = height_mm(normals, px_mm)
    return Relief(height, lines, length, 1000 * cockle_mm(height, known, px_mm), slope)


def cockle_mm(height: Array, known: Mask, px_mm: float) -> float:
    """Root mean square height [mm] in the band of 5 to 80 mm over known pixels."""
    rows, columns = height.shape
    down = np.arange(rows)[:, None] / (2 * rows * px_mm)
    across = np.arange(columns)[None, :] / (2 * columns * px_mm)
    per_mm = np.hypot(down, across)
    band = (per_mm > 1 / COCKLE_MM[1]) & (per_mm < 1 / COCKLE_MM[0])
    within = scipy.fft.idctn(
        scipy.fft.dctn(np.where(known, height, 0.0), norm="ortho") * band, norm="ortho"
    )
    return float(np.sqrt(np.mean(within[known] ** 2))) if known.any() else float("nan")


def crease_lines(normals: Array, px_mm: float) -> Mask:
    """Crease lines one pixel wide: where curvature peaks across itself.

    Curvature is that of slopes smoothed over 0.35 mm. A line starts where it is 7 times the
    usual curvature of the sheet (and 0.006 per mm) and runs on down to half of that; lines
    shorter than 5 mm are left out.
    """
    known = np.isfinite(normals[..., 2])
    right, down = (_smoothed(part, known, _SMOOTH_MM / px_mm) for part in slopes_of(normals))
    xx, xy = np.gradient(right, axis=1) / px_mm, np.gradient(right, axis=0) / px_mm
    yx, yy = np.gradient(down, axis=1) / px_mm, np.gradient(down, axis=0) / px_mm
    twist = 0.5 * (xy + yx)
    middle, half = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), twist)
    strength = np.abs(middle) + half
    angle = 0.5 * np.arctan2(2 * twist, xx - yy) + np.where(middle < 0, np.pi / 2, 0.0)
    inner = _inside(known, _RIM_MM / px_mm)
    usual = float(np.median(strength[inner])) if inner.any() else 0.0
    weak = max(_WEAK * usual, 0.5 * _LEAST_CURVATURE)
    ridge = _peaks_across(strength, angle, _ACROSS_MM / px_mm) & (strength > weak) & inner
    return _linked(ridge, strength > max(_STRONG * usual, _LEAST_CURVATURE), px_mm)


def _smoothed(values: Array, known: Mask, sigma: float) -> Array:
    weight = cv2.GaussianBlur(known.astype(np.float64), (0, 0), max(sigma, 0.3))
    blurred = cv2.GaussianBlur(np.where(known, values, 0.0), (0, 0), max(sigma, 0.3))
    return np.asarray(blurred / np.maximum(weight, 1e-3))


def _inside(known: Mask, reach: float) -> Mask:
    side = 2 * max(1, round(reach)) + 1
    kernel = np.ones((side, side), np.uint8)
    return np.asarray(cv2.erode(known.astype(np.uint8), kernel, borderValue=0) > 0)


def _peaks_across(strength: Array, angle: Array, reach_px: float) -> Mask:
    """Where strength is the largest within ``reach_px`` to either side, across the line.

    The flanks of a crease bend too, the other way and less; they are not creases of their own.
    """
    rows, columns = strength.shape
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    dx, dy = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)
    plain = strength.astype(np.float32)
    peak = np.ones(strength.shape, dtype=bool)
    steps = np.arange(1, max(1, round(reach_px)) + 1, dtype=np.float32)
    for step in steps:
        for sign in (-1.0, 1.0):
            side = cv2.remap(plain, x + sign * step * dx, y + sign * step * dy, cv2.INTER_LINEAR)
            peak &= plain >= side if sign < 0 else plain > side
    return peak


def _linked(ridge: Mask, strong: Mask, px_mm: float) -> Mask:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        ridge.astype(np.uint8), connectivity=8
    )
    reach = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) * px_mm
    seeded = np.bincount(labels[strong & ridge], minlength=count) > 0.2 * np.maximum(
        stats[:, cv2.CC_STAT_AREA], 1
    )
    keep = seeded & (reach >= _LEAST_CREASE_MM)
    keep[0] = False
    return np.asarray(keep[labels])


def line_length_px(lines: Mask) -> float:
    """Length of thin lines [px]: how often rows, columns and both diagonals cross them.

    (pi / 8) (rows + columns + diagonals / sqrt(2)), Cauchy and Crofton's rule for four
    directions (from memory); right within 5 % for a straight line, whatever its thickness.
    """
    # Two by two, so that no diagonal slips between pixels that touch by their corners.
    plain = np.asarray(cv2.dilate(lines.astype(np.uint8), np.ones((2, 2), np.uint8)) > 0)
    crossings = [_runs(plain), _runs(plain.T), _runs(_sheared(plain)), _runs(_sheared(plain[::-1]))]
    level = crossings[0] + crossings[1]
    return math.pi / 8 * (level + (crossings[2] + crossings[3]) / math.sqrt(2))


def _runs(lines: Mask) -> int:
    """How many runs of true pixels the rows hold."""
    return int(lines[:, 0].sum() + (lines[:, 1:] & ~lines[:, :-1]).sum())


def _sheared(lines: Mask) -> Mask:
    """Diagonals as rows: each row moved one pixel further than the one above, then turned."""
    rows, columns = lines.shape
    out = np.zeros((rows, rows + columns), dtype=bool)
    for row in range(rows):
        out[row, row : row + columns] = lines[row]
    return np.ascontiguousarray(out.T)


def slope_picture(one: NDArray[np.floating], two: NDArray[np.floating]) -> Array:
    """Slope along the line between two opposite lamps, as a picture from 0 to 1 (0.5 level).

    (one - two) / (one + two): print cancels, but no angle and no height can be had from it.

    Raises:
        ValueError: when the two pictures differ in size.
    """
    if one.shape != two.shape:
        raise ValueError(
            f"the two pictures must have one size, got {one.shape} and {two.shape}: neither "
            "camera nor sheet may move between them"
        )
    total = np.asarray(one, np.float64) + two
    share = np.where(total > 0, (np.asarray(one, np.float64) - two) / np.maximum(total, 1e-9), 0.0)
    return np.asarray(0.5 + 0.5 * np.clip(share - np.median(share), -1, 1))


def divided_by_flat(
    images: NDArray[np.floating], flats: NDArray[np.floating], lights: Array
) -> NDArray[np.float32]:
    """Pictures of the sheet over those of a flat white sheet, lamp by lamp.

    The quotient is what one far lamp would have given: a flat sheet gets the sine of the
    lamp's elevation. Where the flat sheet is darker than a hundredth of its own brightest
    place nothing can be said and the quotient is 0.

    Raises:
        ValueError: when pictures and flat sheets do not fit each other.
    """
    if images.shape != flats.shape:
        raise ValueError(
            f"there must be one flat sheet for each picture, of its size: got {flats.shape} for "
            f"{images.shape} (number, height, width)"
        )
    out = np.zeros(images.shape, dtype=np.float32)
    for index, flat in enumerate(flats):
        soft = cv2.GaussianBlur(np.asarray(flat, np.float32), (0, 0), max(flat.shape) / 150)
        floor = 0.01 * float(soft.max())
        if floor <= 0:
            raise ValueError(f"the flat sheet of lamp {index + 1} is all dark")
        good = soft > floor
        out[index][good] = (images[index][good] / soft[good]) * lights[index, 2]
    return out
