"""From the margin to the centre: how the tone of paper falls, and the tone of paper under print.

Air and light brown a sheet from its edges: L(e) = L0 - A exp(-e / d), with e the distance from
the nearest outer edge. The fit is robust, because stains and corners do not keep to it. Tiles
without bare paper are given the tone of the fit, corrected by the bare tiles around them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_SHORTEST_MM, _LONGEST_MM = 2.0, 60.0
_LEAST_TILES = 40
_MOST_TILES = 2500
# Tiles next to one another are alike: about so many count as one.
_ALIKE = 25.0
_LEAST_FALL = 1.0
_REACH_TILES = (3.0, 8.0, 20.0, 60.0)


@dataclass(frozen=True, slots=True)
class Decay:
    """L(e) = L0 - A exp(-e / d): ``centre_L`` L0, ``fall_L`` A, ``decay_mm`` d, each with its u.

    ``residual_L`` is the robust standard deviation about it. ``found`` is false where the fall
    is within its own uncertainty, or smaller than one unit: then d means nothing.
    """

    centre_L: float
    fall_L: float
    decay_mm: float
    u_fall_L: float
    u_decay_mm: float
    residual_L: float
    found: bool
    tiles: int


def fit_decay(from_edge_mm: Array, lightness: Array, wanted: Mask) -> Decay | None:
    """Fit the fall of L* towards the outer edges to the tiles that are wanted.

    None with fewer than 40 tiles, or when they do not reach from within 8 mm of an edge to 25 mm.
    """
    use = wanted & np.isfinite(lightness) & np.isfinite(from_edge_mm)
    e, level = from_edge_mm[use], lightness[use]
    if len(e) < _LEAST_TILES or e.min() > 8.0 or e.max() < 25.0:
        return None
    step = -(-len(e) // _MOST_TILES)
    e, level = e[::step], level[::step]
    weight = _evenly(e)

    def miss(at: Array) -> Array:
        return np.asarray(weight * (at[0] - at[1] * np.exp(-e / at[2]) - level))

    deep = float(np.median(level[e >= np.quantile(e, 0.6)]))
    shallow = float(np.median(level[e <= np.quantile(e, 0.15)]))
    start = [deep, float(np.clip(deep - shallow, 0.5, 60.0)), 12.0]
    fit = scipy.optimize.least_squares(
        miss, start, loss="soft_l1", f_scale=1.0,
        bounds=([0.0, -20.0, _SHORTEST_MM], [110.0, 80.0, _LONGEST_MM]),
    )  # fmt: skip
    left = fit.x[0] - fit.x[1] * np.exp(-e / fit.x[2]) - level
    residual = float(1.4826 * np.median(np.abs(left)))
    normal = fit.jac.T @ fit.jac + 1e-9 * np.eye(3)
    spread = np.sqrt(np.diag(np.linalg.inv(normal)) * min(_ALIKE, len(e)))
    u = spread * max(residual, 0.1)
    found = bool(fit.x[1] > max(2.0 * u[1], _LEAST_FALL) and u[2] < fit.x[2])
    return Decay(
        float(fit.x[0]), float(fit.x[1]), float(fit.x[2]), float(u[1]), float(u[2]), residual,
        bool(found and 0.98 * fit.x[2] > _SHORTEST_MM and fit.x[2] < 0.98 * _LONGEST_MM),
        int(use.sum()),
    )  # fmt: skip


def _evenly(e: Array) -> Array:
    """Weights that let each stretch of the way to the edge speak alike, mean 1."""
    place = np.minimum((e / 4.0).astype(int), 15)
    count = np.bincount(place, minlength=16)
    weight = 1.0 / np.sqrt(count[place])
    return np.asarray(weight / weight.mean())


def filled(lab: Array, from_edge_mm: Array, wanted: Mask) -> Array:
    """Tone of every wanted tile (rows, columns, 3): its own, else that of the paper around it.

    What is carried from tile to tile is the rest after the fall towards the edges, so that a
    brown margin does not brown the middle.
    """
    known = np.isfinite(lab[..., 0]) & wanted
    out = np.where(known[..., None], lab, np.nan)
    if not known.any():
        return out
    trend = _trend(lab, from_edge_mm, known)
    rest = np.where(known[..., None], lab - trend, 0.0).astype(np.float32)
    empty = wanted & ~known
    mask = known.astype(np.float32)
    for reach in _REACH_TILES:
        if not empty.any():
            break
        near = cv2.GaussianBlur(mask, (0, 0), reach, borderType=cv2.BORDER_CONSTANT)
        blurred = cv2.GaussianBlur(rest, (0, 0), reach, borderType=cv2.BORDER_CONSTANT)
        enough = empty & (near > 0.03)
        out[enough] = trend[enough] + blurred[enough] / near[enough][:, None]
        empty &= ~enough
    out[empty] = trend[empty] + np.median(rest[known], axis=0)
    return out


def _trend(lab: Array, from_edge_mm: Array, known: Mask) -> Array:
    """The fall towards the edges in L*, a* and b*: one decay, its size by least squares."""
    fall = fit_decay(from_edge_mm, lab[..., 0], known)
    if fall is None or not fall.found:
        return np.zeros_like(lab) + np.median(lab[known], axis=0)
    far = np.where(np.isfinite(from_edge_mm), from_edge_mm, 1e3)
    shape = np.exp(-far / fall.decay_mm)
    design = np.column_stack([np.ones(int(known.sum())), shape[known]])
    size = np.linalg.lstsq(design, lab[known], rcond=None)[0]
    return np.asarray(size[0] + shape[..., None] * size[1])


def weighted_median(values: Array, weight: Array) -> Array:
    """Median (k,) of rows (n, k), each counted by its weight (n,)."""
    out = np.empty(values.shape[1])
    for column in range(values.shape[1]):
        order = np.argsort(values[:, column])
        total = np.cumsum(weight[order])
        out[column] = values[order[np.searchsorted(total, 0.5 * total[-1])], column]
    return out
