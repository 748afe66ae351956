"""Planted sheets: four staple holes on a common pattern, each sheet shifted, turned and noisy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from quirewell.science.booklet.align import Alignment
from quirewell.science.booklet.holes import Edges, HoleAt, Sheet

Array = NDArray[np.float64]
LEGS_MM = (60.0, 73.0, 187.0, 200.0)
PATTERN: Array = np.column_stack([np.zeros(4), LEGS_MM])
CENTRE: Array = PATTERN.mean(0)


def turned(points: Array, turn: float) -> Array:
    cos, sin = np.cos(turn), np.sin(turn)
    return points @ np.array([[cos, sin], [-sin, cos]])


def name_of(number: int) -> str:
    return "c" if number == 0 else f"w{number:02d}"


def sheet(number: int, points: Array, u: float | None = 0.08, size: float | None = None) -> Sheet:
    holes = [HoleAt(j + 1, float(x), float(y), u, size) for j, (x, y) in enumerate(points)]
    return Sheet(name_of(number), tuple(holes))


def planted(
    rng: np.random.Generator, count: int = 15, sigma: float = 0.08, shift_mm: float = 0.3,
    turn_mrad: float = 2.0, u: float | None = 0.08, size: float | None = None,
) -> tuple[list[Sheet], Array]:  # fmt: skip
    """Sheets, and for each the shift [mm, mm] and turn [rad] that brings it onto the pattern."""
    sheets, truth = [], np.zeros((count, 3))
    for i in range(count):
        truth[i] = *rng.normal(0, shift_mm, 2), rng.normal(0, turn_mrad / 1e3)
        own = CENTRE - truth[i, :2]
        points = turned(PATTERN - CENTRE, -truth[i, 2]) + own + rng.normal(0, sigma, (4, 2))
        sheets.append(sheet(i, points, u, size))
    return sheets, truth


def with_hole(one: Sheet, number: int, hole: HoleAt | None) -> Sheet:
    """The sheet with a hole replaced, or left out."""
    holes = [hole if held.number == number else held for held in one.holes]
    return replace(one, holes=tuple(held for held in holes if held is not None))


def moved_hole(one: Sheet, number: int, dx: float, dy: float) -> Sheet:
    held = next(hole for hole in one.holes if hole.number == number)
    assert held.x_mm is not None and held.y_mm is not None
    return with_hole(one, number, replace(held, x_mm=held.x_mm + dx, y_mm=held.y_mm + dy))


def with_edges(one: Sheet, **edges: float | None) -> Sheet:
    return replace(one, edges=Edges(**edges))


def residuals(laid: Alignment) -> Array:
    return np.array([[one or 0.0 for one in sheet.residual_mm] for sheet in laid.sheets])
