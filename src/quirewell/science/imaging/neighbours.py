"""Whether a match agrees with those around it: the only thing that sees a halftone's false lock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]
Mask = NDArray[np.bool_]

_REACH = 2
_LONELY = 4


def off_neighbours(rest: Real, good: Mask) -> tuple[Real, Real]:
    """Distance of each point from the median of the good ones around it, and their scatter.

    ``rest`` (rows, columns, 2): what a smooth prediction leaves of each match [px]; ``good``
    (rows, columns). Both answers (rows, columns) [px]; a point with fewer than four good ones
    among its 24 neighbours is measured against the prediction itself.
    """
    masked = np.where(good[..., None], rest, np.nan)
    around = np.stack([_around(masked[..., k]) for k in (0, 1)], axis=-1)
    count = np.isfinite(around[..., 0]).sum(axis=-1)
    lonely = count < _LONELY
    middle = np.stack([_median(around[..., k], count) for k in (0, 1)], axis=-1)
    middle = np.where(lonely[..., None], 0.0, middle)
    away = np.hypot(*np.moveaxis(around - middle[..., None, :], -1, 0))
    scatter = np.where(lonely, 0.0, _median(away, count) / 1.1774)
    off = np.hypot(*np.moveaxis(rest - middle, -1, 0))
    return off, scatter


def agreeing(rest: Real, good: Mask, u: Real, *, slack_px: float = 0.25, rounds: int = 3) -> Mask:
    """The good points that agree with their neighbours within what noise explains.

    ``u`` (rows, columns): standard uncertainty of each match [px]. Allowed: ``slack_px``, 4
    times the neighbours' scatter and 3 times the point's own uncertainty, at most 1.5 px.
    """
    for _ in range(rounds):
        off, scatter = off_neighbours(rest, good)
        allowed = np.minimum(slack_px + np.hypot(4 * scatter, 3 * np.nan_to_num(u)), 1.5)
        kept = good & (off <= allowed)
        if np.array_equal(kept, good):
            break
        good = kept
    return good


def _around(plane: Real) -> Real:
    size = 2 * _REACH + 1
    padded = np.pad(plane, _REACH, constant_values=np.nan)
    window = np.lib.stride_tricks.sliding_window_view(padded, (size, size))
    flat = window.reshape(*plane.shape, size * size)
    return np.delete(flat, size * size // 2, axis=-1)


def _median(values: Real, count: NDArray[np.int_]) -> Real:
    ordered = np.sort(values, axis=-1)  # nan last
    low = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0)[..., None], -1)[..., 0]
    high = np.take_along_axis(ordered, np.maximum(count // 2, 0)[..., None], -1)
    return np.asarray(0.5 * (low + high[..., 0]))
