"""How a sheet moved and strained from place to place, free of how it lay on the glass."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.register import Registration

Real = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class StrainField:
    """Displacement and strain on the lattice ``ys`` x ``xs`` [px before].

    ``dx``, ``dy``: place after minus place before [px before, the scale of the second picture
    brought to the first's]; ``exx`` along the paper's width, ``eyy`` along its height, ``exy``
    half the change of the angle between them [-]; ``seen``: where matches vouch for it.
    """

    xs: Real
    ys: Real
    dx: Real
    dy: Real
    exx: Real
    eyy: Real
    exy: Real
    seen: Mask

    @property
    def left(self) -> tuple[Real, Real]:
        """Displacement [px before] with the turn and the shift of the whole taken out."""
        x, y = np.meshgrid(self.xs, self.ys)
        points = np.column_stack([x.ravel(), y.ravel()])
        moved = np.column_stack([self.dx.ravel(), self.dy.ravel()])
        use = self.seen.ravel()
        if use.sum() < 3:
            return np.zeros_like(self.dx), np.zeros_like(self.dy)
        target = points + moved
        middle, goal = points[use].mean(axis=0), target[use].mean(axis=0)
        one, _, two = np.linalg.svd((points[use] - middle).T @ (target[use] - goal))
        turn = one @ np.diag([1.0, np.sign(np.linalg.det(one @ two))]) @ two
        rest = target - goal - (points - middle) @ turn
        return rest[:, 0].reshape(self.dx.shape), rest[:, 1].reshape(self.dx.shape)


def strain_field(
    match: Registration,
    ratio: tuple[float, float] = (1.0, 1.0),
    paper_angle_deg: float = 0.0,
    along: int = 32,
) -> StrainField:
    """The field on a lattice of about ``along`` points along the longer side.

    ``ratio``: micrometres a pixel of the second picture over that of the first, along x and y;
    ``paper_angle_deg``: from the first picture's x axis to the paper's width [deg], clockwise.
    """
    height, width = match.shape
    step = max(height, width) / along
    xs = (np.arange(max(2, round(width / step))) + 0.5) * width / max(2, round(width / step)) - 0.5
    ys = (np.arange(max(2, round(height / step))) + 0.5) * height / max(
        2, round(height / step)
    ) - 0.5
    at_x, at_y = match.field.on(xs, ys)
    scale = np.asarray(ratio)
    slopes = match.field.slopes_on(xs, ys) * scale[:, None]
    exx, eyy, exy = _strains(slopes, math.radians(paper_angle_deg))
    dx = at_x * scale[0] - xs[None, :]
    dy = at_y * scale[1] - ys[:, None]
    return StrainField(xs, ys, dx, dy, exx, eyy, exy, _seen(match, xs, ys))


def _strains(slopes: Real, angle: float) -> tuple[Real, Real, Real]:
    """Right stretch U = sqrt(F' F) less 1 along the paper's axes, rotation dropped."""
    squared = np.swapaxes(slopes, -1, -2) @ slopes
    root = np.sqrt(np.maximum(np.linalg.det(squared), 1e-12))
    trace = squared[..., 0, 0] + squared[..., 1, 1]
    stretch = (squared + root[..., None, None] * np.eye(2)) / np.sqrt(trace + 2 * root)[
        ..., None, None
    ]
    across = np.array([math.cos(angle), math.sin(angle)])
    down = np.array([-math.sin(angle), math.cos(angle)])
    return (
        np.einsum("i,...ij,j", across, stretch, across) - 1,
        np.einsum("i,...ij,j", down, stretch, down) - 1,
        np.einsum("i,...ij,j", across, stretch, down),
    )


def _seen(match: Registration, xs: Real, ys: Real) -> Mask:
    """Cells of the lattice that hold a trusted match, or lie next to one."""
    column = np.clip(np.round((match.points[:, 0] - xs[0]) / (xs[1] - xs[0])), 0, len(xs) - 1)
    row = np.clip(np.round((match.points[:, 1] - ys[0]) / (ys[1] - ys[0])), 0, len(ys) - 1)
    held = np.zeros((len(ys), len(xs)), dtype=np.uint8)
    held[row.astype(int), column.astype(int)] = 1
    return np.asarray(cv2.dilate(held, np.ones((3, 3), np.uint8)) > 0) & _inside(held)


def _inside(held: NDArray[np.uint8]) -> Mask:
    """Not beyond the outermost matches by more than closing small holes allows."""
    closed = cv2.morphologyEx(held, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    return np.asarray(np.maximum(closed, held) > 0)


def field_text(field: StrainField) -> str:
    """The seen part of the lattice as text for a viewer: "x,y,dx,dy,exx,eyy x,y,...".

    Places and displacements in pixels of the before picture (0.1 and 0.001), strains in
    microstrain, row by row.
    """
    rows = []
    for j, y in enumerate(field.ys):
        for i, x in enumerate(field.xs):
            if field.seen[j, i]:
                rows.append(
                    f"{x:.1f},{y:.1f},{field.dx[j, i]:.3f},{field.dy[j, i]:.3f},"
                    f"{1e6 * field.exx[j, i]:.0f},{1e6 * field.eyy[j, i]:.0f}"
                )
    return " ".join(rows)
