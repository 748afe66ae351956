"""Finding a regular grid of plain patches in a picture, at any turn and in perspective.

Plain places of about one size are gathered at several thresholds of roughness, and counted off
along the two directions in which their neighbours lie. What comes out is a projective map from
grid steps to pixels; which patch is which is for the colours to say.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_SEARCH_PX = 1000
_ROUGH = (5, 8, 12, 18, 28)
_LEAST_SHARE, _MOST_SHARE = 2e-4, 0.035
_LEAST_CELLS = 9
_SEEDS = 40


@dataclass(frozen=True, slots=True)
class Grid:
    """Grid steps (column, row) to pixels of the picture, and the cells that were seen."""

    to_px: Array
    cells: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _Places:
    """Middles (n, 2) and sides (n,) of plain places [px]."""

    middle: Array
    side: Array


def find_grids(rgb: NDArray[np.uint8]) -> list[Grid]:
    """Grids of plain patches in a picture (H, W, 3), those with most patches first."""
    shrink = min(1.0, _SEARCH_PX / max(rgb.shape[:2]))
    size = (max(8, round(rgb.shape[1] * shrink)), max(8, round(rgb.shape[0] * shrink)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    places = _plain_places(np.asarray(small, np.uint8))
    grids: list[Grid] = []
    left = np.ones(len(places.side), bool)
    while int(left.sum()) >= _LEAST_CELLS and len(grids) < 3:
        members = _best_lattice(places, left)
        if len(members) < _LEAST_CELLS:
            break
        index = np.array(list(members))
        cells = np.array(list(members.values()))
        grid = _fit_grid(places.middle[index], cells, np.array(size) / rgb.shape[1::-1])
        left[index] = False
        if grid is not None:
            grids.append(grid)
    return grids


def _plain_places(rgb: NDArray[np.uint8]) -> _Places:
    calm = cv2.medianBlur(rgb, 5)
    kernel = np.ones((3, 3), np.uint8)
    rough = np.asarray(cv2.morphologyEx(calm, cv2.MORPH_GRADIENT, kernel)).max(axis=2)
    pixels = rgb.shape[0] * rgb.shape[1]
    middles: list[tuple[float, float]] = []
    sides: list[float] = []
    for limit in _ROUGH:
        plain = (rough <= limit).astype(np.uint8)
        count, labels, stats, centres = cv2.connectedComponentsWithStats(plain, connectivity=4)
        for label in range(1, count):
            x, y, wide, high, area = (int(v) for v in stats[label])
            if not _LEAST_SHARE * pixels <= area <= _MOST_SHARE * pixels:
                continue
            part = (labels[y : y + high, x : x + wide] == label).astype(np.uint8)
            if not _square_like(part, area):
                continue
            middles.append((float(centres[label][0]), float(centres[label][1])))
            sides.append(float(np.sqrt(area)))
    return _distinct(np.array(middles).reshape(-1, 2), np.array(sides))


def _square_like(part: NDArray[np.uint8], area: int) -> bool:
    outlines, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=len)
    hull = float(cv2.contourArea(cv2.convexHull(outline)))
    (_, _), (one, two), _ = cv2.minAreaRect(outline)
    short, long = min(one, two) + 1.0, max(one, two) + 1.0
    return bool(short / long > 0.45 and area > 0.55 * short * long and area > 0.85 * hull)


def _distinct(middle: Array, side: Array) -> _Places:
    """One place for each that was found at several thresholds: the largest."""
    order = np.argsort(-side)
    kept: list[int] = []
    for index in order:
        if kept:
            away = np.hypot(*(middle[kept] - middle[index]).T)
            if (away < 0.5 * side[kept]).any():
                continue
        kept.append(int(index))
    return _Places(middle[kept], side[kept])


def _best_lattice(places: _Places, left: NDArray[np.bool_]) -> dict[int, tuple[int, int]]:
    best: dict[int, tuple[int, int]] = {}
    seeds = np.flatnonzero(left)
    crowd = [int((_alike(places, int(seed), left)).sum()) for seed in seeds]
    for seed in seeds[np.argsort(crowd)[::-1]][:_SEEDS]:
        steps = _two_steps(places, int(seed), left)
        if steps is None:
            continue
        found = _count_off(places, int(seed), steps, left)
        if len(found) > len(best):
            best = found
        if len(best) >= 24:
            break
    return best


def _alike(places: _Places, seed: int, left: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Places near a seed and of about its size."""
    side = places.side[seed]
    away = np.hypot(*(places.middle - places.middle[seed]).T)
    ratio = places.side / side
    good = left & (away > 0.7 * side) & (away < 2.2 * side) & (ratio > 0.62) & (ratio < 1.6)
    return np.asarray(good)


def _two_steps(places: _Places, seed: int, left: NDArray[np.bool_]) -> Array | None:
    """The two shortest moves to neighbours that stand well across each other (2, 2)."""
    moves = places.middle[_alike(places, seed, left)] - places.middle[seed]
    if len(moves) < 2:
        return None
    moves = moves[np.argsort(np.hypot(*moves.T))]
    first = moves[0]
    for other in moves[1:]:
        cross = abs(first[0] * other[1] - first[1] * other[0])
        if cross > 0.6 * np.hypot(*first) * np.hypot(*other):
            return np.array([first, other])
    return None


def _count_off(
    places: _Places, seed: int, steps: Array, left: NDArray[np.bool_]
) -> dict[int, tuple[int, int]]:
    """Walk from place to place, each step predicted from the neighbours already counted."""
    found = {seed: (0, 0)}
    at = {(0, 0): seed}
    local = {seed: steps}
    waiting = [seed]
    while waiting and len(found) < 80:
        here = waiting.pop(0)
        column, row = found[here]
        for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
            cell = (column + sign * (axis == 0), row + sign * (axis == 1))
            if cell in at:
                continue
            guess = places.middle[here] + sign * local[here][axis]
            away = np.hypot(*(places.middle - guess).T)
            away[~left] = np.inf
            near = int(np.argmin(away))
            reach = np.hypot(*local[here][axis])
            ratio = places.side[near] / places.side[here]
            if away[near] > 0.22 * reach or near in found or not 0.62 < ratio < 1.6:
                continue
            moved = local[here].copy()
            moved[axis] = 0.5 * moved[axis] + 0.5 * sign * (
                places.middle[near] - places.middle[here]
            )
            found[near], at[cell], local[near] = cell, near, moved
            waiting.append(near)
    return found


def _fit_grid(middle: Array, cells: NDArray[np.intp], shrink: Array) -> Grid | None:
    if len({int(c) for c in cells[:, 0]}) < 3 or len({int(r) for r in cells[:, 1]}) < 2:
        return None
    full = (middle + 0.5) / shrink
    pitch = float(np.median(np.hypot(*np.diff(full, axis=0).T)))
    found = cv2.findHomography(cells.astype(np.float64), full, cv2.RANSAC, 0.06 * pitch + 1.0)
    to_px, inlier = found
    if to_px is None or int(inlier.sum()) < _LEAST_CELLS:
        return None
    return Grid(np.asarray(to_px, dtype=np.float64), cells[inlier.ravel() > 0])
