"""The bench strip: our own printed scale target, kept in a clear sleeve and laid beside the sheet.

Six square marks in a row, three at each end, with six neutral grey steps between them. All
lengths are millimetres on the strip, x along it, y down. The one length a user measures, once,
with a steel rule, runs **from the left edge of the first mark to the left edge of the last**:
like edges, so that a printer that lays on too much ink does not change it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.strip_fit import (
    MarkSeen,
    StripFit,
    fit_strip,
    refine_mark,
)

STRIP_LENGTH_MM = 180.0
STRIP_HEIGHT_MM = 14.0
MARK_MM = 9.0
MARK_TOP_MM = 2.5
MARK_IDS = (11, 17, 23, 29, 37, 41)
MARK_LEFTS_MM = (5.5, 21.5, 37.5, 133.5, 149.5, 165.5)
NOMINAL_LENGTH_MM = MARK_LEFTS_MM[-1] - MARK_LEFTS_MM[0]
# A home printer's scale, from memory: pages are seldom more than half a per cent out.
PRINTER_U_PCT = 0.3
GREY_LEFTS_MM = (51.5, 64.5, 77.5, 90.5, 103.5, 116.5)
GREY_WIDTH_MM = 12.0
# sRGB values of L* 20, 35, 50, 65, 80 and 92.
GREYS = (48, 83, 119, 158, 198, 232)

_CELLS = 6
_SEARCH_PX = 2400
Grey = NDArray[np.uint8 | np.uint16]


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A filled rectangle of the strip [mm]; ``grey`` is its sRGB value, 0 black to 255 white."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    grey: int


@dataclass(frozen=True, slots=True)
class StripPoints:
    """Corners of the marks: number on the strip, place on it as drawn [mm], in the picture [px].

    The places hold the ink's spread as it was found, so that only the strip's length is left
    to be measured.
    """

    ids: NDArray[np.int64]
    points_mm: NDArray[np.float64]
    points_px: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StripFound:
    """The strip in a picture.

    ``um_per_px_x``, ``um_per_px_y`` [um/px] stand for the nominal length; ``covariance`` (2, 2)
    is that of their relative errors [-] from the fit alone. ``turn_deg`` is the strip's turn,
    clockwise. ``box_px`` are its corners clockwise from the upper left of the strip itself,
    ``greys`` the mean pixel value of each grey step (None where out of the picture).
    ``points`` are the corners the scale rests on.
    Pixel coordinates count from the picture's upper left corner; a pixel's middle is at +0.5.
    """

    um_per_px_x: float
    um_per_px_y: float
    covariance: NDArray[np.float64]
    turn_deg: float
    residual_px: float
    marks: int
    span_mm: float
    box_px: NDArray[np.float64]
    greys: tuple[float | None, ...]
    points: StripPoints | None = None


@lru_cache(maxsize=1)
def strip_rectangles() -> tuple[Rectangle, ...]:
    """The strip as filled rectangles [mm], first its white ground; later ones lie on top."""
    parts = [Rectangle(0.0, 0.0, STRIP_LENGTH_MM, STRIP_HEIGHT_MM, 255)]
    cell = MARK_MM / _CELLS
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for id_, left in zip(MARK_IDS, MARK_LEFTS_MM, strict=True):
        parts.append(Rectangle(left, MARK_TOP_MM, MARK_MM, MARK_MM, 0))
        cells = cv2.aruco.generateImageMarker(book, id_, _CELLS)
        for row, column in np.argwhere(cells > 0):
            x, y = left + cell * float(column), MARK_TOP_MM + cell * float(row)
            parts.append(Rectangle(x, y, cell, cell, 255))
    for left, grey in zip(GREY_LEFTS_MM, GREYS, strict=True):
        parts.append(Rectangle(left, MARK_TOP_MM, GREY_WIDTH_MM, MARK_MM, grey))
    return tuple(parts)


def draw_strip(um_per_px: float) -> NDArray[np.uint8]:
    """The strip as a grey picture, edges mixed by exact coverage in linear light.

    Parameters
    ----------
    um_per_px
        size of a pixel [um]

    Raises
    ------
    ValueError
        when the pixel is not between 2 and 1000 um
    """
    if not 2.0 <= um_per_px <= 1000.0:
        raise ValueError(f"a pixel of the strip is 2 to 1000 um wide, got {um_per_px} um")
    px_mm = um_per_px / 1000.0
    rows, columns = (int(np.ceil(s / px_mm - 1e-9)) for s in (STRIP_HEIGHT_MM, STRIP_LENGTH_MM))
    light = np.ones((rows, columns))
    for part in strip_rectangles():
        across = _share(part.x_mm, part.width_mm, columns, px_mm)
        down = _share(part.y_mm, part.height_mm, rows, px_mm)
        weight = down[:, None] * across[None, :]
        light += weight * (_decode(part.grey / 255.0) - light)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.clip(np.round(255.0 * encoded), 0, 255), dtype=np.uint8)


def _share(start: float, length: float, count: int, px_mm: float) -> NDArray[np.float64]:
    edges = np.arange(count + 1) * px_mm
    inside = np.minimum(edges[1:], start + length) - np.maximum(edges[:-1], start)
    return np.asarray(np.clip(inside / px_mm, 0.0, 1.0))


def _decode(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def find_strip(grey: Grey) -> StripFound | None:
    """Look for the bench strip in a grey picture; None when it is not there.

    At least three of its marks, 60 mm apart or more, must agree with the strip's geometry to
    a quarter of a millimetre. Mark edges are found in linear light to a fraction of a pixel,
    lines are fitted to them, and scale, turn and place to the corners by least squares.

    Parameters
    ----------
    grey
        grey picture (H, W) in sRGB encoding, 8 or 16 bit
    """
    marks = _seen_marks(grey)
    if len(marks) < 3:
        return None
    refined = [
        mark for mark in (refine_mark(grey, *seen, MARK_MM, _CELLS) for seen in marks) if mark
    ]
    fit = _consistent(refined)
    if fit is None:
        return None
    box = np.array(
        [[0, 0], [STRIP_LENGTH_MM, 0], [STRIP_LENGTH_MM, STRIP_HEIGHT_MM], [0, STRIP_HEIGHT_MM]],
        dtype=np.float64,
    )
    lefts = [mark.left_mm for mark in fit.marks]
    return StripFound(
        fit.um_per_px_x,
        fit.um_per_px_y,
        fit.covariance,
        fit.turn_deg,
        fit.residual_px,
        len(fit.marks),
        max(lefts) - min(lefts) + MARK_MM,
        fit.to_px(box),
        tuple(_grey_step(grey, fit, left) for left in GREY_LEFTS_MM),
        _points(fit),
    )


def _points(fit: StripFit) -> StripPoints:
    """Corners of the fitted marks with their numbers (four a mark, clockwise)."""
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=np.float64)
    spread = float(fit.place[5])
    ids, places = [], []
    for mark in fit.marks:
        first = 4 * MARK_LEFTS_MM.index(mark.left_mm)
        ids += [first + corner for corner in range(4)]
        corner = 0.5 * MARK_MM * (signs + 1.0) + (mark.left_mm, mark.top_mm)
        places.append(corner + spread * signs)
    seen = np.concatenate([mark.corners_px for mark in fit.marks])
    return StripPoints(np.array(ids, dtype=np.int64), np.concatenate(places), seen)


def _seen_marks(grey: Grey) -> list[tuple[float, float, NDArray[np.float64]]]:
    """(left, top [mm], corners [px]) of each of our marks, found on a reduced picture."""
    small = np.asarray(grey >> 8 if grey.dtype == np.uint16 else grey, dtype=np.uint8)
    factor = max(1.0, max(grey.shape) / _SEARCH_PX)
    if factor > 1.0:
        size = (round(grey.shape[1] / factor), round(grey.shape[0] / factor))
        small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.uint8)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    found, ids, _ = cv2.aruco.ArucoDetector(book).detectMarkers(small)
    named = [] if len(found) == 0 else [int(id_) for id_ in np.ravel(ids)]
    scale = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    out = []
    for corners, id_ in zip(found, named, strict=True):
        if id_ in MARK_IDS:
            left = MARK_LEFTS_MM[MARK_IDS.index(id_)]
            out.append((left, MARK_TOP_MM, (corners.reshape(4, 2) + 0.5) * scale))
    return out


def _consistent(marks: list[MarkSeen]) -> StripFit | None:
    """Fit the marks; drop the worst while it disagrees by more than 0.25 mm."""
    while len(marks) >= 3:
        lefts = [mark.left_mm for mark in marks]
        if max(lefts) - min(lefts) < 60.0 - MARK_MM:
            return None
        fit = fit_strip(marks, MARK_MM)
        worst = int(np.argmax(fit.mark_errors_mm))
        if fit.mark_errors_mm[worst] <= 0.25:
            return fit
        marks = [mark for index, mark in enumerate(marks) if index != worst]
    return None


def _grey_step(grey: Grey, fit: StripFit, left_mm: float) -> float | None:
    """Mean pixel value over the middle of a grey step."""
    middle = np.array([[left_mm + GREY_WIDTH_MM / 2, MARK_TOP_MM + MARK_MM / 2]])
    x, y = fit.to_px(middle)[0]
    half = max(1, int(0.3 * MARK_MM * 1000.0 / max(fit.um_per_px_x, fit.um_per_px_y)))
    rows, columns = slice(int(y) - half, int(y) + half), slice(int(x) - half, int(x) + half)
    tall, wide = grey.shape
    if min(rows.start, columns.start) < 0 or rows.stop > tall or columns.stop > wide:
        return None
    return float(np.mean(grey[rows, columns]))
