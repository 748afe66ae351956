"""The 24-patch colour target in a picture: where it lies, which way round, what it reads.

Found by itself or by the middles of its four corner patches, in any order. Which patch is which
is decided by the colours: of all turns (and mirrored ones) the one is taken in which one 3 x 3
matrix explains the patches best. The neutral row must then come out neutral.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.spaces import lab_from_linear, lab_from_xyz, light_of, xyz_from_lab
from quirewell.science.colour.target24 import COLUMNS, NEUTRALS, ROWS, edition_lab
from quirewell.science.imaging.chart_grid import find_grids

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
# Half the side of the square that is read, in steps of the grid.
_HALF = 0.24
# A wrong grid of patches is explained to 15 units or worse, a right one in poor light to 10.
_MOST_DE00 = 12.0
_CLIPPED_SHARE = 0.02
_LEAST_PATCH_PX = 5.0


class NoChart(ValueError):
    """No target could be found or read; a sentence."""


@dataclass(frozen=True, slots=True)
class Chart:
    """A target in a picture, patches row by row from the dark brown.

    ``to_px`` (3, 3) carries grid steps (column 0..5, row 0..3 at the patches' middles) to
    pixels; ``middle_px`` (24, 2) and ``square_px`` (24, 4, 2) are middles and read squares;
    ``light`` (24, 3) is linear light [-], ``noise_L`` (24,) the spread of L* within a patch,
    ``clipped`` (24,) whether it is burnt out, or so dark or strong that a channel is cut off.
    """

    found: Literal["by itself", "by its corners"]
    to_px: Array
    middle_px: Array
    square_px: Array
    light: Array
    noise_L: Array
    clipped: NDArray[np.bool_]
    turn_deg: float
    fit_de00: float


def find_chart(
    pixels: Pixels,
    corners_px: NDArray[np.floating] | None = None,
    flat: NDArray[np.floating] | None = None,
    lab: NDArray[np.floating] | None = None,
) -> Chart:
    """Find and read the target.

    Parameters
    ----------
    pixels
        picture (H, W, 3), uint8 or uint16 in sRGB encoding
    corners_px
        middles of the four corner patches (4, 2), in any order; None to find it by itself
    flat
        how brightly each place was lit (H, W), 1 at its brightest: what is read is divided by it
    lab
        CIELAB D50 of the 24 patches, to tell them apart by; the newer edition unless given

    Raises
    ------
    NoChart
        none was found, it lies mirrored, it is too small, or the colours are not its own
    """
    eight = pixels if pixels.dtype == np.uint8 else (pixels >> 8)
    rgb = np.ascontiguousarray(eight, dtype=np.uint8)
    reference = edition_lab("after-2014") if lab is None else np.asarray(lab, dtype=np.float64)
    if corners_px is not None:
        maps = [_from_corners(np.asarray(corners_px, dtype=np.float64), pixels.shape)]
    else:
        maps = _windows(rgb)
    best = _which_way(rgb, maps, reference)
    if best is None or best[0] > _MOST_DE00:
        raise NoChart(_not_found(corners_px is not None, best))
    score, to_px, mirrored = best
    if mirrored:
        raise NoChart(
            "the colour target lies mirrored in the picture: the picture was flipped, and every "
            "place in it with it; take or save it again unflipped"
        )
    middle, square = _places(to_px)
    side = float(np.sqrt(_area(square)).min())
    if side < _LEAST_PATCH_PX:
        raise NoChart(
            f"the patches of the colour target are only {side / _HALF / 2:.0f} pixels apart; at "
            f"least {_LEAST_PATCH_PX / _HALF / 2:.0f} are needed: go closer or scan finer"
        )
    light, noise, clipped = _read(pixels, square, flat)
    move = middle[COLUMNS - 1] - middle[0]
    return Chart(
        "by its corners" if corners_px is not None else "by itself",
        to_px, middle, square, light, noise, clipped,
        float(np.degrees(np.arctan2(move[1], move[0]))), score,
    )  # fmt: skip


def _not_found(typed: bool, best: tuple[float, Array, bool] | None) -> str:
    if typed:
        return (
            "at the four corners given the colours are not those of a 24-patch target: give the "
            "middles of its four corner patches (x,y of each, in pixels from the upper left)"
        )
    more = "" if best is None else " (a grid of patches was seen, but in other colours)"
    return (
        f"no 24-patch target was found in the picture{more}; give the middles of its four corner "
        "patches with --corners x1,y1,x2,y2,x3,y3,x4,y4"
    )


def _from_corners(corners: Array, shape: tuple[int, ...]) -> Array:
    height, width = shape[:2]
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise NoChart(f"four corners are eight numbers, got {corners.size}")
    if (corners < 0).any() or (corners > [width, height]).any():
        raise NoChart(f"the corners have to lie in the picture, which is {width} x {height} pixels")
    middle = corners.mean(axis=0)
    order = np.argsort(np.arctan2(*(corners - middle).T[::-1]))
    round_ = corners[order].astype(np.float32)
    if not cv2.isContourConvex(round_) or cv2.contourArea(round_) < 100.0:
        raise NoChart("the four corners do not span a target: two coincide or all lie in a line")
    sides = np.hypot(*(np.roll(round_, -1, axis=0) - round_).T)
    if sides[0] + sides[2] < sides[1] + sides[3]:
        round_ = np.roll(round_, -1, axis=0)
    ends = np.array(
        [[0, 0], [COLUMNS - 1, 0], [COLUMNS - 1, ROWS - 1], [0, ROWS - 1]], dtype=np.float32
    )
    return np.asarray(cv2.getPerspectiveTransform(ends, round_), dtype=np.float64)


def _windows(rgb: NDArray[np.uint8]) -> list[Array]:
    """Maps from a 6 x 4 grid to pixels, for every place it may take in the grids that were seen."""
    maps = []
    for grid in find_grids(rgb):
        low, high = grid.cells.min(axis=0), grid.cells.max(axis=0)
        for wide, tall, turn in ((COLUMNS, ROWS, False), (ROWS, COLUMNS, True)):
            for left in range(int(high[0]) - wide + 1, int(low[0]) + 1) or [int(low[0])]:
                for top in range(int(high[1]) - tall + 1, int(low[1]) + 1) or [int(low[1])]:
                    maps += _window(grid.to_px, grid.cells, left, top, (wide, tall), turn)
    return maps


def _window(
    to_px: Array, cells: NDArray[np.intp], left: int, top: int, size: tuple[int, int], turn: bool
) -> list[Array]:
    inside = (cells >= [left, top]).all(axis=1) & (cells < [left + size[0], top + size[1]]).all(
        axis=1
    )
    if inside.mean() < 0.8:
        return []
    swap = np.array([[0.0, 1, 0], [1, 0, 0], [0, 0, 1]]) if turn else np.eye(3)
    shift = np.array([[1.0, 0, left], [0, 1, top], [0, 0, 1]])
    return [to_px @ shift @ swap]


def _which_way(
    rgb: NDArray[np.uint8], maps: list[Array], lab: Array
) -> tuple[float, Array, bool] | None:
    """The map, turn and hand in which one matrix explains the colours best: error, map, hand."""
    best: tuple[float, Array, bool] | None = None
    last = np.array([COLUMNS - 1.0, ROWS - 1.0])
    for to_px in maps:
        for flip_x in (False, True):
            for flip_y in (False, True):
                sign = np.array([-1.0 if flip_x else 1.0, -1.0 if flip_y else 1.0])
                move = np.where(sign < 0, last, 0.0)
                turned = to_px @ np.array([[sign[0], 0, move[0]], [0, sign[1], move[1]], [0, 0, 1]])
                light = _glance(rgb, turned)
                if light is None:
                    continue
                score = explained_de00(light, lab)
                if best is None or score < best[0]:
                    best = score, turned, _hand(turned) < 0
    return best


def _hand(to_px: Array) -> float:
    """Above 0 where columns run on clockwise into rows, as on the target itself."""
    middle = _project(to_px, np.array([[2.0, 1.0], [3.0, 1.0], [2.0, 2.0]]))
    one, two = middle[1] - middle[0], middle[2] - middle[0]
    return float(one[0] * two[1] - one[1] * two[0])


def _glance(rgb: NDArray[np.uint8], to_px: Array) -> Array | None:
    """Light at the middles of the patches (24, 3), from a few pixels each; None off the picture."""
    middle, square = _places(to_px)
    half = max(1, int(0.3 * np.sqrt(_area(square)).min()))
    height, width = rgb.shape[:2]
    if (middle < half + 1).any() or (middle > [width - half - 2, height - half - 2]).any():
        return None
    step = max(1, half // 4)
    out = np.empty((len(middle), 3))
    for index, (x, y) in enumerate(np.round(middle - 0.5).astype(int)):
        part = rgb[y - half : y + half + 1 : step, x - half : x + half + 1 : step]
        out[index] = np.median(light_of(part).reshape(-1, 3), axis=0)
    return out


def explained_de00(light: Array, lab: Array) -> float:
    """Median error [CIEDE2000] when one 3 x 3 matrix carries ``light`` to ``lab``."""
    xyz = xyz_from_lab(lab)
    weight = np.maximum(xyz[:, 1:2], 1e-3) ** (-2.0 / 3.0)
    matrix = np.linalg.lstsq(light * weight, xyz * weight, rcond=None)[0]
    return float(np.median(ciede2000(lab_from_xyz(np.maximum(light @ matrix, 0.0)), lab)))


def _places(to_px: Array) -> tuple[Array, Array]:
    """Middles (24, 2) and read squares (24, 4, 2) [px]."""
    cells = np.array([[c, r] for r in range(ROWS) for c in range(COLUMNS)], dtype=np.float64)
    around = _HALF * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    square = _project(to_px, (cells[:, None, :] + around[None]).reshape(-1, 2))
    return _project(to_px, cells), square.reshape(-1, 4, 2)


def _project(to_px: Array, points: Array) -> Array:
    whole = np.column_stack([points, np.ones(len(points))]) @ to_px.T
    return np.asarray(whole[:, :2] / whole[:, 2:])


def _area(square: Array) -> Array:
    x, y = square[..., 0], square[..., 1]
    return np.asarray(
        0.5 * np.abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1))
    )


def _read(
    pixels: Pixels, square: Array, flat: NDArray[np.floating] | None
) -> tuple[Array, Array, NDArray[np.bool_]]:
    top = float(np.iinfo(pixels.dtype).max)
    light, noise = np.empty((len(square), 3)), np.empty(len(square))
    clipped = np.zeros(len(square), bool)
    for index, corners in enumerate(square):
        x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
        x1, y1 = np.ceil(corners.max(axis=0)).astype(int) + 1
        part = pixels[y0:y1, x0:x1]
        mask = np.zeros(part.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, np.round(corners - [x0, y0] - 0.5).astype(np.int32), 1)
        values = part[mask > 0]
        if len(values) < 9:
            raise NoChart("part of the colour target lies outside the picture")
        full = values >= top * (254.5 / 255 if top < 256 else 0.999)
        empty = (values <= 0.002 * top) & (values.max(axis=1, keepdims=True) > 0.25 * top)
        clipped[index] = max(full.mean(axis=0).max(), empty.mean(axis=0).max()) > _CLIPPED_SHARE
        lit = light_of(values).astype(np.float64)
        if flat is not None:
            lit /= np.maximum(flat[y0:y1, x0:x1][mask > 0], 0.05)[:, None]
        light[index] = _trimmed(lit)
        noise[index] = float(np.std(lab_from_linear(np.maximum(lit, 0.0))[:, 0]))
    return light, noise, clipped


def _trimmed(values: Array) -> Array:
    """Mean of the middle eight tenths of each channel: dust and scratches have no say."""
    cut = len(values) // 10
    return np.asarray(np.sort(values, axis=0)[cut : len(values) - cut].mean(axis=0))


def flat_field(pixels: Pixels) -> Array:
    """How brightly each place was lit (H, W), 1 at its brightest: from a plain sheet's picture.

    Smoothed over a fiftieth of the longer side, so that the sheet's grain has no say.
    """
    sigma = max(2.0, max(pixels.shape[:2]) / 50.0)
    green = light_of(np.ascontiguousarray(pixels[..., 1]))
    smooth = np.asarray(cv2.GaussianBlur(green, (0, 0), sigma), dtype=np.float64)
    return smooth / max(float(np.quantile(smooth, 0.995)), 1e-6)


__all__ = ["NEUTRALS", "Chart", "NoChart", "explained_de00", "find_chart", "flat_field"]
