"""Solid areas of each ink: found before treatment, told apart by colour, in a fixed way.

An ink's colour is taken as it would look on the page's usual paper (light divided by the paper
under it), so that tanning does not split one ink in two. The colours of all solid pixels fill a
histogram in CIELAB; its peaks, densest first, are the inks. Nothing is drawn by chance.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.imaging.match import Mask

Light = NDArray[np.float32]
Array = NDArray[np.float64]
Lab = tuple[float, float, float]

LEAST_AREA_MM2 = 1.0
ERODED_PX = 2
_BIN_LAB = 3.0
_SMOOTH_BINS = 1.2
_APART_LAB = 11.0
_REACH_LAB = 15.0
_LEAST_SHARE = 0.004
_LEAST_FROM_PAPER = 9.0
_GRAINY = 0.035
_MOST_INKS = 12


@dataclass(frozen=True, slots=True)
class Solid:
    """One ink's solids: ``mask`` on the before picture, eroded by 2 px; ``lab`` on the page's
    usual paper (CIELAB D50); ``passes`` the share of light [0..1] it lets back; ``area_mm2``."""

    mask: Mask
    lab: Lab
    passes: tuple[float, float, float]
    area_mm2: float


def find_solids(
    light: Light, paper: Light, ink: Mask, seen: Mask, um_per_px: float
) -> tuple[Solid, ...]:
    """Inks with a square millimetre or more of solid, largest first.

    Parameters
    ----------
    light, paper
        linear light (height, width, 3) of the picture and of the bare paper under it
    ink, seen
        true on ink; true where the leaf is seen
    um_per_px
        scale of the picture [um]
    """
    px_mm2 = (um_per_px / 1000) ** 2
    wide = _wide_areas(ink & seen, px_mm2)
    solid = _wide_areas(wide & ~_grainy(light, wide), px_mm2, erode=0)
    rows, columns = np.nonzero(solid)
    if rows.size == 0:
        return ()
    passes = np.clip(light[rows, columns] / np.maximum(paper[rows, columns], 1e-3), 2e-3, 1.2)
    usual = np.median(paper[seen][::97], axis=0)
    lab = lab_from_linear(passes * usual)
    peaks = _peaks(lab, rows.size, px_mm2)
    paper_lab = lab_from_linear(usual)
    found = []
    nearest = _assigned(lab, peaks)
    for index in range(len(peaks)):
        here = nearest == index
        mask = np.zeros(solid.shape, dtype=bool)
        mask[rows[here], columns[here]] = True
        mask = _wide_areas(mask, px_mm2, erode=0, close=True) & solid
        area = float(mask.sum() * px_mm2)
        if area < LEAST_AREA_MM2:
            continue
        kept = mask[rows, columns]
        middle = np.median(lab[kept], axis=0)
        share = np.median(passes[kept], axis=0)
        if np.linalg.norm(middle - paper_lab) < _LEAST_FROM_PAPER or _browned(share, middle):
            continue
        found.append(Solid(mask, _triple(middle), _triple(np.asarray(share, np.float64)), area))
    found.sort(key=lambda entry: -entry.area_mm2)
    return tuple(found[:_MOST_INKS])


def _triple(values: Array) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])


def _disc(reach: int) -> NDArray[np.uint8]:
    shape = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(shape, dtype=np.uint8)


def _wide_areas(mask: Mask, px_mm2: float, erode: int = ERODED_PX, close: bool = False) -> Mask:
    """Connected areas of a square millimetre or more, after erosion by ``erode`` px."""
    plain = mask.astype(np.uint8)
    if erode:
        plain = np.asarray(cv2.erode(plain, _disc(erode), borderValue=0), np.uint8)
    joined = cv2.morphologyEx(plain, cv2.MORPH_CLOSE, _disc(1)) if close else plain
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=4)
    keep = stats[:, cv2.CC_STAT_AREA] * px_mm2 >= LEAST_AREA_MM2
    keep[0] = False
    assert count == len(keep)
    return np.asarray(keep[labels] & (plain > 0), dtype=bool)


def _grainy(light: Light, wide: Mask) -> Mask:
    """Where tone changes from pixel to pixel inside an area: halftone, which is no solid.

    Tones are light to the power 1 / 2.2. Screens gave a local standard deviation of 0.05 to
    0.08, letters and solids below 0.03 (measured on drawn scans of 100 and 200 dpi).
    """
    inside = wide.astype(np.float32)
    tone = np.power(np.clip(light[..., 1], 0, 1), np.float32(1 / 2.2))
    mean = _soft(tone * inside) / np.maximum(_soft(inside), np.float32(1e-3))
    fine = (tone - mean) * inside
    power = cv2.blur(fine * fine, (7, 7)) / np.maximum(cv2.blur(inside, (7, 7)), np.float32(0.02))
    return np.asarray(power > _GRAINY**2)


def _soft(values: Light) -> Light:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), 1.5), dtype=np.float32)


def _peaks(lab: Array, pixels: int, px_mm2: float) -> Array:
    """Peaks of the smoothed histogram, densest first, at least 11 CIELAB units apart."""
    low = np.array([0.0, -110.0, -110.0])
    shape = (35, 74, 74)
    at = np.clip(np.round((lab - low) / _BIN_LAB).astype(int), 0, np.array(shape) - 1)
    counts = np.bincount(np.ravel_multi_index(tuple(at.T), shape), minlength=int(np.prod(shape)))
    dense = scipy.ndimage.gaussian_filter(counts.reshape(shape).astype(np.float64), _SMOOTH_BINS)
    top = (dense == scipy.ndimage.maximum_filter(dense, size=3)) & (dense > 0)
    places = np.argwhere(top)
    order = np.lexsort((*places.T[::-1], -dense[top]))
    kept: list[Array] = []
    least = max(_LEAST_SHARE * 1e-2 * pixels, 0.02 * LEAST_AREA_MM2 / px_mm2)
    for place in places[order]:
        if dense[tuple(place)] < least:
            break
        colour = low + _BIN_LAB * place
        if all(np.linalg.norm(colour - other) >= _APART_LAB for other in kept):
            kept.append(colour)
    return np.array(kept).reshape(-1, 3)


def _assigned(lab: Array, peaks: Array) -> NDArray[np.intp]:
    """The nearest peak of each colour, -1 where none lies within 15 CIELAB units."""
    best = np.full(len(lab), _REACH_LAB)
    nearest = np.full(len(lab), -1, dtype=np.intp)
    for index, peak in enumerate(peaks):
        far = np.linalg.norm(lab - peak, axis=1)
        closer = far < best
        nearest[closer] = index
        best[closer] = far[closer]
    return nearest


def _browned(passes: NDArray[np.floating], lab: Array) -> bool:
    """Whether a colour is what tanned or stained paper looks like, not a printed ink.

    Browning takes blue most, green less, red least, each by a factor of one to three more than
    the next, and leaves paper lighter than a solid print.
    """
    red, green, blue = -np.log10(np.clip(passes.astype(np.float64), 2e-3, 1.0)) + 1e-6
    falls = 1.15 < green / red < 3.5 and 1.15 < blue / green < 2.6
    return bool(falls and green < 0.45 and lab[0] > 30)
