"""The light of bare paper everywhere on a leaf, under its print too.

Tanning, stains and uneven lighting change slowly from place to place; print darkens suddenly.
So a smooth surface is laid over the light of small tiles (a high percentile, where paper shows
between letters) and asked again and again which tiles lie far below it: those hold solid ink and
lose their say. The surface is a smoothing spline by the cosine transform (after ``garcia2010``),
first stiff, then softer.
"""

from __future__ import annotations

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.imaging.match import Mask

Light = NDArray[np.float32]
Array = NDArray[np.float64]

_TILES = 96
_TOP = 0.8
_MOST_SAMPLES = 20
_STIFFNESS = (300.0, 300.0, 100.0, 100.0, 30.0, 30.0, 10.0, 10.0, 10.0)
_ROUNDS = 40
_FLOOR = 1e-3
_BELOW = 0.85
_BOWL_ROUNDS = 60
# Bare tiles scatter by at least this about the surface (natural logarithm of light).
_SCATTER = (0.02, 0.10)


def paper_surface(light: Light, paper: Mask | None = None) -> Light:
    """Light [0..1] of bare paper at every pixel of ``light`` (height, width), linear.

    ``paper`` is true on the leaf (all of the picture unless given). Valid where bare paper
    shows somewhere within about a tenth of the picture; inside a wider solid the surface is
    carried across it.
    """
    side = max(3, round(max(light.shape) / _TILES))
    tops, known = _tops(light, paper, side)
    surface = _surface(np.log(np.maximum(tops, _FLOOR)), known)
    return _spread(np.exp(surface), light.shape, side)


def _tops(light: Light, paper: Mask | None, side: int) -> tuple[Array, Mask]:
    """High percentile of each tile, and which tiles lie mostly on paper."""
    height, width = light.shape
    rows, columns = -(-height // side), -(-width // side)
    step = max(1, side // _MOST_SAMPLES)
    pad = ((0, rows * side - height), (0, columns * side - width))
    full = np.pad(light, pad, mode="edge").reshape(rows, side, columns, side)
    cut = full[:, ::step, :, ::step].transpose(0, 2, 1, 3).reshape(rows, columns, -1)
    if paper is None:
        return np.quantile(cut, _TOP, axis=2), np.ones((rows, columns), dtype=bool)
    on = np.pad(paper, pad, mode="edge").reshape(rows, side, columns, side)
    seen = on[:, ::step, :, ::step].transpose(0, 2, 1, 3).reshape(rows, columns, -1)
    known = seen.mean(axis=2) > 0.5
    filled = np.where(seen, cut, np.float32(-1.0))
    ordered = np.sort(filled, axis=2)
    count = seen.sum(axis=2)
    at = ordered.shape[2] - np.maximum(1, np.round((1.0 - _TOP) * count)).astype(int)
    return np.take_along_axis(ordered, at[..., None], 2)[..., 0].astype(np.float64), known


def _surface(tops: Array, known: Mask) -> Array:
    if not known.any():
        return np.zeros_like(tops)
    surface = _bowl(tops, known)
    tops = np.where(known, tops, surface)
    for stiffness in _STIFFNESS:
        off = tops - surface
        above = off[known & (off > 0)]
        scatter = 1.4826 * float(np.median(above)) if above.size else _SCATTER[1]
        scatter = float(np.clip(scatter, *_SCATTER))
        weight = np.where(known & (off > -3.5 * scatter), 1.0, 0.0)
        surface = _smoothed(tops, weight + 1e-4 * (known & (off > -0.2)) + 1e-7, surface, stiffness)
    return surface


def _bowl(tops: Array, known: Mask) -> Array:
    """A bowl of second degree with 85 of 100 tiles below it: light that falls off across a page.

    Quantile regression (koenker1978) by weighted least squares, asked a fixed number of times.
    """
    rows, columns = tops.shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    rows_known, values = terms[known], tops[known]
    steady = 1e-3 * len(values) * np.diag([0.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    factors = np.array([np.quantile(values, _BELOW), 0, 0, 0, 0, 0])
    for _ in range(_BOWL_ROUNDS):
        off = values - rows_known @ factors
        weight = np.where(off > 0, _BELOW, 1 - _BELOW) / np.maximum(np.abs(off), _SCATTER[0])
        left = (rows_known * weight[:, None]).T @ rows_known + steady
        factors = np.linalg.solve(left, (rows_known * weight[:, None]).T @ values)
    return np.asarray(terms @ factors)


def _smoothed(values: Array, weight: Array, start: Array, stiffness: float) -> Array:
    rows, columns = values.shape
    bend = (2 - 2 * np.cos(np.pi * np.arange(rows) / rows))[:, None] + (
        2 - 2 * np.cos(np.pi * np.arange(columns) / columns)
    )[None, :]
    keep = 1.0 / (1.0 + stiffness * bend**2)
    out = start
    for _ in range(_ROUNDS):
        out = scipy.fft.idctn(
            keep * scipy.fft.dctn(weight * (values - out) + out, norm="ortho"), norm="ortho"
        )
    return np.asarray(out, dtype=np.float64)


def _spread(tiles: Array, shape: tuple[int, ...], side: int) -> Light:
    rows, columns = tiles.shape
    big = cv2.resize(
        tiles.astype(np.float32), (columns * side, rows * side), interpolation=cv2.INTER_LINEAR
    )
    return np.ascontiguousarray(big[: shape[0], : shape[1]], dtype=np.float32)
