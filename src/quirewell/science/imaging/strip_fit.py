"""Fitting the bench strip: mark edges to a fraction of a pixel, then scale, turn and place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Points = NDArray[np.float64]
# Corners cannot be trusted better than this, however small the residual of a few of them.
_FLOOR_PX = 0.02


@dataclass(frozen=True, slots=True)
class MarkSeen:
    """One mark: its place on the strip [mm] and its corners in the picture [px], clockwise from
    the mark's own upper left."""

    left_mm: float
    top_mm: float
    corners_px: Points


@dataclass(frozen=True, slots=True)
class StripFit:
    """Scale, turn and place of the strip (see :func:`fit_strip`)."""

    um_per_px_x: float
    um_per_px_y: float
    covariance: NDArray[np.float64]
    turn_deg: float
    residual_px: float
    marks: tuple[MarkSeen, ...]
    mark_errors_mm: tuple[float, ...]
    place: NDArray[np.float64]

    def to_px(self, points_mm: Points) -> Points:
        """Strip points (N, 2) [mm] as picture points [px]."""
        return _project(self.place, points_mm, np.zeros_like(points_mm))


def _project(place: Points, points: Points, outward: Points) -> Points:
    """px = diag(e^-a, e^-b) R(t) (p + g s) + c, with place = (a, b, t, cx, cy, g)."""
    a, b, t, cx, cy, g = place
    at = points + g * outward
    x = np.cos(t) * at[:, 0] - np.sin(t) * at[:, 1]
    y = np.sin(t) * at[:, 0] + np.cos(t) * at[:, 1]
    return np.column_stack([np.exp(-a) * x + cx, np.exp(-b) * y + cy])


def fit_strip(marks: list[MarkSeen], mark_mm: float) -> StripFit:
    """Least-squares fit of both pixel sizes, turn, place and ink spread to the mark corners.

    The covariance is that of ln(mm per px) in x and y, scaled by the residual (at least
    0.02 px). Ink spread is a length by which every mark is larger than drawn, common to all.
    """
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=np.float64)
    square = 0.5 * mark_mm * (signs + 1.0)
    points = np.concatenate([square + np.array([mark.left_mm, mark.top_mm]) for mark in marks])
    outward = np.tile(signs, (len(marks), 1))
    seen = np.concatenate([mark.corners_px for mark in marks])
    place = _start(points, seen)
    for _ in range(8):
        slopes = _slopes(place, points, outward)
        step, *_ = np.linalg.lstsq(slopes, (seen - _project(place, points, outward)).ravel())
        place = place + step
    miss = seen - _project(place, points, outward)
    dof = miss.size - place.size
    sigma = max(float(np.sqrt(np.sum(miss**2) / dof)), _FLOOR_PX)
    slopes = _slopes(place, points, outward)
    covariance = sigma**2 * np.linalg.inv(slopes.T @ slopes)
    size_mm = np.exp(place[:2])
    errors = np.hypot(*(miss * size_mm).T).reshape(len(marks), 4).max(axis=1)
    return StripFit(
        1000.0 * float(size_mm[0]),
        1000.0 * float(size_mm[1]),
        np.asarray(covariance[:2, :2], dtype=np.float64),
        float(np.degrees(place[2])),
        float(np.sqrt(np.mean(miss**2))),
        tuple(marks),
        tuple(float(error) for error in errors),
        place,
    )


def _start(points: Points, seen: Points) -> Points:
    """A similarity through all corners, by complex least squares."""
    p, q = points @ [1, 1j], seen @ [1, 1j]
    p0, q0 = p.mean(), q.mean()
    turn = np.vdot(p - p0, q - q0) / np.vdot(p - p0, p - p0)
    shift = q0 - turn * p0
    size = -np.log(abs(turn))
    return np.array([size, size, np.angle(turn), shift.real, shift.imag, 0.0])


def _slopes(place: Points, points: Points, outward: Points) -> Points:
    steps = (1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-4)
    columns = []
    for index, step in enumerate(steps):
        move = np.zeros(6)
        move[index] = step
        ahead = _project(place + move, points, outward)
        behind = _project(place - move, points, outward)
        columns.append((ahead - behind).ravel() / (2 * step))
    return np.column_stack(columns)


def refine_mark(
    grey: NDArray[np.uint8 | np.uint16],
    left_mm: float,
    top_mm: float,
    corners_px: Points,
    mark_mm: float,
    cells: int,
) -> MarkSeen | None:
    """Corners as the meeting of lines fitted to the four outer edges; None when one is unclear.

    Each edge is crossed by profiles from the white ground into the black border; its place is
    the length of white that holds as much linear light as the profile does, so that neither
    blur nor the place of the pixels moves it.
    """
    side_px = float(np.mean(np.hypot(*(np.roll(corners_px, -1, 0) - corners_px).T)))
    reach = side_px / cells
    if reach < 2.5:
        return None
    corners = corners_px
    for _ in range(2):
        lines = []
        for index in range(4):
            line = _edge(grey, corners[index], corners[(index + 1) % 4], reach)
            if line is None:
                return None
            lines.append(line)
        corners = np.array([_meet(lines[index - 1], lines[index]) for index in range(4)])
        if np.max(np.abs(corners - corners_px)) > reach:
            return None
    return MarkSeen(left_mm, top_mm, corners)


def _edge(
    grey: NDArray[np.uint8 | np.uint16], first: Points, last: Points, reach: float
) -> tuple[Points, Points] | None:
    """Line (point, direction) through the half-way crossings of one mark edge."""
    run = last - first
    length = float(np.hypot(*run))
    along = run / length
    inward = np.array([-along[1], along[0]])
    count = int(np.clip(length, 12, 240))
    at = first + np.linspace(0.08, 0.92, count)[:, None] * run
    steps = np.arange(-0.7 * reach, 0.7 * reach + 0.125, 0.25)
    x = at[:, :1] + steps * inward[0] - 0.5
    y = at[:, 1:] + steps * inward[1] - 0.5
    profiles = _sample(grey, x, y)
    if profiles is None:
        return None
    outer = profiles[:, steps < -0.4 * reach].mean(axis=1, keepdims=True)
    inner = profiles[:, steps > 0.4 * reach].mean(axis=1, keepdims=True)
    if float(np.median(outer - inner)) < 0.05:
        return None
    bright = (profiles - inner) / np.maximum(outer - inner, 1e-6)
    depth = steps[0] + 0.25 * (bright[:, :-1] + bright[:, 1:]).sum(axis=1) / 2
    place = np.linspace(0.08, 0.92, count) * length
    slope, offset = _robust_line(place, depth)
    return first + offset * inward, along + slope * inward


def _robust_line(x: Points, y: Points) -> tuple[float, float]:
    keep = np.ones(x.size, dtype=bool)
    slope, offset = 0.0, float(np.median(y))
    for _ in range(3):
        if keep.sum() < 4:
            break
        slope, offset = (float(value) for value in np.polyfit(x[keep], y[keep], 1))
        miss = np.abs(y - offset - slope * x)
        keep = miss <= max(3.0 * 1.4826 * float(np.median(miss)), 1e-3)
    return slope, offset


def _meet(one: tuple[Points, Points], other: tuple[Points, Points]) -> Points:
    matrix = np.column_stack([one[1], -other[1]])
    share = np.linalg.solve(matrix, other[0] - one[0])
    return np.asarray(one[0] + share[0] * one[1])


def _sample(
    grey: NDArray[np.uint8 | np.uint16], x: Points, y: Points
) -> NDArray[np.float64] | None:
    """Linear light [0..1] at pixel-middle coordinates; None when out of the picture."""
    left, right = int(np.floor(x.min())) - 2, int(np.ceil(x.max())) + 3
    top, bottom = int(np.floor(y.min())) - 2, int(np.ceil(y.max())) + 3
    if left < 0 or top < 0 or right > grey.shape[1] or bottom > grey.shape[0]:
        return None
    part = grey[top:bottom, left:right].astype(np.float64) / float(np.iinfo(grey.dtype).max)
    light = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    out = scipy.ndimage.map_coordinates(light, [y - top, x - left], order=1)
    return np.asarray(out, dtype=np.float64)
