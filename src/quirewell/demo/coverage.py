"""Exact area coverage of polygons on a pixel grid.

Planted sizes must come from geometry, never from rounding, so the share of each pixel that a
polygon covers is computed exactly: every edge is cut where it crosses a grid line, each piece
adds its signed area to the pixel it lies in and its height to everything right of it, and a
running sum along the row turns the two into coverage. A pixel ``(row, column)`` is the unit
square from ``(column, row)`` to ``(column + 1, row + 1)``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


def polygon_area(points: Points) -> float:
    """Signed area of a closed polygon, in the square of the unit of ``points`` (N, 2)."""
    x, y = points[:, 0], points[:, 1]
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def coverage(polygons: Sequence[Points], height_px: int, width_px: int) -> NDArray[np.float32]:
    """Covered share [0..1] of every pixel.

    Parameters
    ----------
    polygons
        closed polygons (N, 2) of (x, y) in pixels; a hole is a polygon that turns the other way
    height_px, width_px
        size of the grid [px]

    Examples
    --------
    >>> square = np.array([[0.25, 0.0], [1.0, 0.0], [1.0, 1.0], [0.25, 1.0]])
    >>> float(coverage([square], 1, 2)[0, 0])
    0.75
    """
    sums = np.zeros((height_px, width_px + 1))
    for polygon in polygons:
        _add(sums, polygon, height_px, width_px)
    covered = np.abs(np.cumsum(sums, axis=1)[:, :width_px])
    return np.clip(covered, 0.0, 1.0).astype(np.float32)


def _add(sums: NDArray[np.float64], polygon: Points, height_px: int, width_px: int) -> None:
    start = polygon
    end = np.roll(polygon, -1, axis=0)
    x0, y0, x1, y1 = _pieces(start, end)
    x0, x1 = np.clip(x0, 0.0, width_px), np.clip(x1, 0.0, width_px)
    y0, y1 = np.clip(y0, 0.0, height_px), np.clip(y1, 0.0, height_px)
    x_mid, rise = 0.5 * (x0 + x1), y1 - y0
    kept = rise != 0.0
    x_mid, rise, y_mid = x_mid[kept], rise[kept], 0.5 * (y0 + y1)[kept]
    column = np.minimum(np.floor(x_mid).astype(np.int64), width_px - 1)
    row = np.clip(np.floor(y_mid).astype(np.int64), 0, height_px - 1)
    right = x_mid - column
    stride = width_px + 1
    flat = row * stride + column
    size = height_px * stride
    added = np.bincount(flat, rise * (1.0 - right), size)
    added += np.bincount(flat + 1, rise * right, size)
    sums += added.reshape(height_px, stride)


def _pieces(start: Points, end: Points) -> tuple[Points, Points, Points, Points]:
    """Edges cut at every grid line they cross: x0, y0, x1, y1 of the pieces."""
    cuts_edge = [np.arange(len(start)), np.arange(len(start))]
    cuts_at = [np.zeros(len(start)), np.ones(len(start))]
    for axis in (0, 1):
        edge, at = _crossings(start[:, axis], end[:, axis])
        cuts_edge.append(edge)
        cuts_at.append(at)
    edge = np.concatenate(cuts_edge)
    at = np.concatenate(cuts_at)
    order = np.lexsort((at, edge))
    edge, at = edge[order], at[order]
    same = edge[1:] == edge[:-1]
    first, from_at, to_at = edge[:-1][same], at[:-1][same], at[1:][same]
    span = end[first] - start[first]
    p0 = start[first] + from_at[:, None] * span
    p1 = start[first] + to_at[:, None] * span
    return p0[:, 0], p0[:, 1], p1[:, 0], p1[:, 1]


def _crossings(a: Points, b: Points) -> tuple[NDArray[np.int64], Points]:
    """Which edges cross an integer between ``a`` and ``b``, and at which share of the edge."""
    low = np.floor(np.minimum(a, b)).astype(np.int64) + 1
    high = np.ceil(np.maximum(a, b)).astype(np.int64) - 1
    count = np.maximum(high - low + 1, 0)
    edge = np.repeat(np.arange(len(a)), count)
    step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    line = low[edge] + step
    return edge, (line - a[edge]) / (b[edge] - a[edge])
