"""Rigid motions in the plane: many sheets at once, no scale, no reflection.

x to the right, y down; a positive turn is clockwise as seen:
x' = x cos - y sin, y' = x sin + y cos, about a common centre, then a shift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Poses:
    """How ``n`` sheets lie: turned by ``turn`` (n,) [rad] about ``centre`` (2,), then shifted by
    ``shift`` (n, 2) [mm]."""

    turn: Array
    shift: Array
    centre: Array

    def place(self, points: Array, sheet: NDArray[np.intp] | None = None) -> Array:
        """Points (n, k, 2) of the sheets where they come to lie; or points (m, 2), the sheet of
        each given."""
        turn, shift = (self.turn, self.shift) if sheet is None else (
            self.turn[sheet], self.shift[sheet])  # fmt: skip
        if points.ndim == 3:
            turn, shift = turn[:, None], shift[:, None]
        return rotated(points - self.centre, turn) + shift + self.centre

    def moved(self, turn: Array, shift: Array) -> Poses:
        """The same sheets turned and shifted further, about the same centre."""
        return Poses(self.turn + turn, rotated(self.shift, turn) + shift, self.centre)

    def about(self, centre: Array) -> Poses:
        """The same poses told about another centre."""
        arm = np.broadcast_to(centre - self.centre, self.shift.shape)
        shift = rotated(arm, self.turn) + self.shift - arm
        return Poses(self.turn, shift, centre)

    def seen_from(self, sheet: int) -> Poses:
        """The same lie of the sheets to each other, told so that one does not move at all."""
        turn = self.turn - self.turn[sheet]
        back = np.broadcast_to(-self.turn[sheet], self.turn.shape)
        return Poses(turn, rotated(self.shift - self.shift[sheet], back), self.centre)


def rotated(points: Array, turn: Array) -> Array:
    """Points (..., 2) turned about the origin by angles (...) [rad]."""
    cos, sin = np.cos(turn), np.sin(turn)
    x, y = points[..., 0], points[..., 1]
    out = np.empty(points.shape)
    out[..., 0], out[..., 1] = cos * x - sin * y, sin * x + cos * y
    return out


def fit(points: Array, targets: Array, weights: Array) -> tuple[Array, Array, Array]:
    """Best rigid motion of each set: turn (...,), and the middles of points and targets (..., 2).

    Points and targets (..., k, 2), weights (..., k). In the plane the rotation of Kabsch
    [kabsch1976] is closed: tan of the turn is the sum of the cross products by that of the dot
    products about the weighted middles. One point or none: turn 0.
    """
    whole = np.maximum(weights.sum(-1), 1e-300)[..., None]
    middle = (weights[..., None] * points).sum(-2) / whole
    aim = (weights[..., None] * targets).sum(-2) / whole
    a, b = points - middle[..., None, :], targets - aim[..., None, :]
    cross = (weights * (a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])).sum(-1)
    dot = (weights * (a * b).sum(-1)).sum(-1)
    turns = (weights > 0).sum(-1) > 1
    return np.where(turns, np.arctan2(cross, dot), 0.0), middle, aim


def applied(points: Array, motion: tuple[Array, Array, Array]) -> Array:
    """Points (..., k, 2) moved as :func:`fit` found."""
    turn, middle, aim = motion
    return rotated(points - middle[..., None, :], turn[..., None]) + aim[..., None, :]
