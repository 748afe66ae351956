"""Tone of unprinted paper, tile by tile, and from the margin to the centre.

In each tile the densest half of the pixels by lightness (the "shorth") is the paper when more
than half of the tile is bare. Tiles in which too few pixels agree, in which a good part is
lighter still, which are more colourful than browning makes paper (coloured ink), or far darker
than bare paper nearby without being browner (solid ink) are left out.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear, light_of

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]

_SAMPLES = 20
_LUMA = np.array([0.2126729, 0.7151522, 0.0721750], dtype=np.float32)
SOLID_INK_L = 8.0
VEILED_L = 2.0
BROWNING = 90.0
COLOURED = 15.0
_RIM = 4
_RIM_TILES = 30
_AGREEING = 0.4
# Between lines of print the paper is veiled; tiles this bare are used alone where they are a
# twentieth of the leaf or more, else all that are more than half bare.
CLEAN_SHARE = 0.9
ENOUGH = 0.05


@dataclass(frozen=True, slots=True)
class ToneTiles:
    """Tone of paper per tile: CIELAB D50 (rows, columns, 3), nan where no bare paper was found.

    ``side_px`` is the side of a tile; tile (r, c) starts at pixel (r, c) times that.
    """

    lab: Array
    side_px: int

    @property
    def bare(self) -> NDArray[np.bool_]:
        """Which tiles hold bare paper."""
        return np.isfinite(self.lab[..., 0])

    def centres_px(self) -> tuple[Array, Array]:
        """Middles of the tiles [px], x (columns,) and y (rows,)."""
        rows, columns = self.lab.shape[:2]
        x, y = (self.side_px * (np.arange(n, dtype=np.float64) + 0.5) for n in (columns, rows))
        return x, y


def tone_tiles(pixels: Pixels, side_px: int, leaf: NDArray[np.bool_]) -> ToneTiles:
    """Tone of bare paper in tiles of ``side_px``.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding
    leaf
        which tiles (rows, columns) lie wholly on the leaf; the others are not looked at
    """
    rows, columns = leaf.shape
    lab = np.full((rows, columns, 3), np.nan)
    share = np.zeros((rows, columns))
    step = max(1, side_px // _SAMPLES)
    for row in range(rows):
        wanted = np.flatnonzero(leaf[row])
        if wanted.size:
            band = pixels[row * side_px : (row + 1) * side_px, : columns * side_px]
            lab[row, wanted], share[row, wanted] = _band(band, side_px, step, wanted)
    clean = share >= CLEAN_SHARE
    if clean.sum() >= max(20, ENOUGH * leaf.sum()):
        lab[~clean] = np.nan
    _drop_colour(lab, _rim(leaf))
    _drop_ink(lab)
    return ToneTiles(lab, side_px)


def _band(band: Pixels, side_px: int, step: int, wanted: NDArray[np.intp]) -> tuple[Array, Array]:
    """Paper tone of the wanted tiles of one row of tiles, nan where there is none; bare share."""
    cut = band.reshape(side_px, -1, side_px, 3)[::step, :, ::step][:, wanted]
    cut = np.moveaxis(cut, 1, 0).reshape(wanted.size, -1, 3)
    light = light_of(cut)
    luma = light @ _LUMA
    order = np.sort(luma, axis=1)
    half = order.shape[1] // 2
    width = order[:, half:] - order[:, : order.shape[1] - half]
    at = np.argmin(width, axis=1)
    low = np.take_along_axis(order, at[:, None], 1)[:, 0]
    reach = np.take_along_axis(width, at[:, None], 1)[:, 0]
    middle = low + 0.5 * reach
    wide = np.maximum(2.2 * reach, 0.02 * middle)
    near = np.abs(luma - middle[:, None]) <= wide[:, None]
    lighter = np.mean(luma > (middle + wide)[:, None], axis=1)
    bare = near.mean(axis=1)
    good = (bare > 0.5) & (reach < 0.22 * middle) & (lighter < 0.12)
    mean = np.einsum("tp,tpc->tc", near, light) / np.maximum(near.sum(axis=1), 1)[:, None]
    out = lab_from_linear(mean)
    out[~good] = np.nan
    return out, np.where(good, bare, 0.0)


def _rim(leaf: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The outermost tiles of a leaf, where paper is seldom printed."""
    kernel = np.ones((2 * _RIM + 1, 2 * _RIM + 1), np.uint8)
    inner = cv2.erode(leaf.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(leaf & (inner == 0))


def _drop_colour(lab: Array, rim: NDArray[np.bool_]) -> None:
    """Remove tiles of coloured ink, in place: their chroma is more than browning gives at their
    lightness (see :func:`_drop_ink`; paper from new to brown lies within 8 of one level). Paper is
    what most tiles of the ``rim`` agree on, so that paper coloured in the pulp stays."""
    level = lab[..., 0] + BROWNING * np.hypot(lab[..., 1], lab[..., 2]) / (lab[..., 0] + 16.0)
    bare = np.isfinite(level)
    sample = level[rim & bare]
    sample = np.sort(sample if sample.size >= _RIM_TILES else level[bare])
    if sample.size < _RIM_TILES:
        return
    some = max(2, round(_AGREEING * sample.size))
    width = sample[some - 1 :] - sample[: sample.size - some + 1]
    at = int(np.argmin(width))
    paper = 0.5 * (sample[at] + sample[at + some - 1])
    lab[bare & (np.where(bare, level, 0.0) > paper + COLOURED)] = np.nan


def _drop_ink(lab: Array) -> None:
    """Remove tiles darker than the bare paper around them without being browner, in place.

    Browning lowers L* and raises chroma over (L* + 16) together, by about 90 for 1 (from the
    worked newsprint values: 61 and 97); neutral ink scales all light alike and leaves that
    ratio. L* + 90 ratio therefore stays where paper only tans, and falls under ink.
    """
    lightness = lab[..., 0]
    if not np.isfinite(lightness).any():
        return
    strength = np.hypot(lab[..., 1], lab[..., 2]) / (lightness + 16.0)
    coloured = float(np.nanmedian(strength)) > 0.02
    level = lightness + BROWNING * strength if coloured else lightness
    around = _around(level)
    lab[level < around - (VEILED_L if coloured else SOLID_INK_L)] = np.nan


def _around(level: Array) -> NDArray[np.float32]:
    """The lightest quarter of the tiles within about 25 mm, smoothed."""
    block = 8
    rows, columns = (-(-size // block) for size in level.shape)
    coarse = np.full((rows, columns), np.nan)
    for row in range(rows):
        for column in range(columns):
            part = level[
                max(0, (row - 1) * block) : (row + 2) * block,
                max(0, (column - 1) * block) : (column + 2) * block,
            ]
            part = part[np.isfinite(part)]
            if part.size >= 6:
                coarse[row, column] = np.quantile(part, 0.75)
    usual = float(np.nanquantile(level, 0.7))
    coarse = np.where(np.isfinite(coarse), np.maximum(coarse, usual - 12.0), usual)
    size = (level.shape[1], level.shape[0])
    out = cv2.resize(coarse.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(out, dtype=np.float32)


@dataclass(frozen=True, slots=True)
class ToneSummary:
    """Tone of a leaf's bare paper, CIELAB D50.

    ``median`` over all bare tiles, ``centre`` over those in the middle half of width and
    height, ``margin`` over those 2 to 8 mm from the outer edges (None where fewer than 5 tiles
    are bare). ``scatter`` is the robust standard deviation of the tiles about the median;
    ``profile`` holds (distance from the nearest outer edge [mm], L, a, b, tiles) by steps.
    """

    median: tuple[float, float, float]
    centre: tuple[float, float, float] | None
    margin: tuple[float, float, float] | None
    scatter: tuple[float, float, float]
    tiles: int
    profile: tuple[tuple[float, float, float, float, int], ...]


PROFILE_STEPS_MM = (0.0, 2.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0, 32.0, 48.0, 64.0, 96.0)


def summarise(
    tiles: ToneTiles, from_edge_mm: Array, middle: NDArray[np.bool_]
) -> ToneSummary | None:
    """Sum up the tiles of a leaf; None when fewer than 5 hold bare paper.

    Parameters
    ----------
    from_edge_mm
        distance of each tile's middle from the nearest outer edge [mm]
    middle
        which tiles lie in the middle half of width and height
    """
    bare = tiles.bare
    if int(bare.sum()) < 5:
        return None
    values = tiles.lab[bare]
    median = np.median(values, axis=0)
    scatter = 1.4826 * np.median(np.abs(values - median), axis=0)
    profile = []
    for low, high in itertools.pairwise(PROFILE_STEPS_MM):
        here = bare & (from_edge_mm >= low) & (from_edge_mm < high)
        if here.sum() >= 5:
            tone = _triple(np.median(tiles.lab[here], axis=0))
            profile.append((0.5 * (low + high), *tone, int(here.sum())))
    return ToneSummary(
        _triple(median),
        _mean_of(tiles.lab[bare & middle]),
        _mean_of(tiles.lab[bare & (from_edge_mm >= 2.0) & (from_edge_mm <= 8.0)]),
        _triple(scatter),
        int(bare.sum()),
        tuple(profile),
    )


def _mean_of(values: Array) -> tuple[float, float, float] | None:
    return _triple(values.mean(axis=0)) if len(values) >= 5 else None


def _triple(values: Array) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
