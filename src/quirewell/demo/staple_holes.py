"""Planted staple holes of the Annual: four to a sheet, each sheet's with a shift of its own.

In a sheet's own frame: x mm from the fold to the right as its outer side is seen, y mm from the
head edge at the fold down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quirewell.demo.outline import Movement, Points
from quirewell.demo.scanner import Ink

LEGS_MM = (65.5, 78.5, 186.5, 199.5)
_SHIFT_MM, _TURN_RAD, _SCATTER_MM = 0.25, 0.0008, 0.04
_TORN = {("c", 3), ("w01", 2), ("w02", 3), ("w07", 1)}
_PLUGGED = {("w05", 4), ("w09", 1)}
_MISSING = {("w04", 3)}
# Rust has spread where the staple sat wet: on the cover and its neighbours.
_RUSTED = ("c", "w01", "w09")
RUST = (0.28, 0.13, 0.06)
_PLUG_PX_MM = 24.0


@dataclass(frozen=True, slots=True)
class PlannedHole:
    """One planted hole; of a torn one the place of the wire, ``tear_mm`` the length of its tear."""

    number: int
    x_mm: float
    y_mm: float
    size_mm: float
    state: str
    tear_mm: float = 0.0

    @property
    def open(self) -> bool:
        """Whether anything can be seen through it."""
        return self.state in ("clean", "torn", "rusted")


def planned_holes(code: str, seed: int) -> tuple[PlannedHole, ...]:
    """The staple holes of a sheet ("c", "w01" ..); the same seed, the same holes."""
    wrap = 0 if code == "c" else int(code[1:])
    rng = np.random.default_rng([seed, 260, wrap])
    dx, dy = rng.normal(0.0, _SHIFT_MM, 2)
    turn = rng.normal(0.0, _TURN_RAD)
    middle = float(np.mean(LEGS_MM))
    holes = []
    for number, leg in enumerate(LEGS_MM, 1):
        x, y = rng.normal(0.0, _SCATTER_MM, 2)
        size = float(rng.uniform(0.62, 0.9))
        state = "rusted" if code in _RUSTED else "clean"
        for name, where in (("torn", _TORN), ("plugged", _PLUGGED), ("missing", _MISSING)):
            state = name if (code, number) in where else state
        holes.append(
            PlannedHole(
                number, float(dx + x - turn * (leg - middle)), float(leg + dy + y), size, state,
                1.9 if state == "torn" else 0.0,
            )
        )  # fmt: skip
    return tuple(holes)


def opening(hole: PlannedHole, fold_mm: float, head_mm: float, seed: int) -> Points:
    """The rim of an open hole on the sheet, turning the way holes of an outline do; a tear is a
    narrow wedge along the fold."""
    rng = np.random.default_rng([seed, 261, hole.number])
    angle = -np.linspace(0, 2 * np.pi, 72, endpoint=False)
    radius = 0.5 * hole.size_mm * (1.0 + 0.05 * np.sin(3 * angle + 6.0 * rng.random()))
    if hole.tear_mm:
        towards = np.pi / 2 if hole.number % 2 else -np.pi / 2
        away = np.abs((angle - towards + np.pi) % (2 * np.pi) - np.pi)
        radius += hole.tear_mm * np.clip(1.0 - away / (0.26 / hole.size_mm), 0.0, 1.0)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    return np.column_stack([fold_mm + hole.x_mm + x, head_mm + hole.y_mm + y])


def plug(hole: PlannedHole, fold_mm: float, head_mm: float, width_mm: float, inner: bool) -> Ink:
    """A plug of rust as one side of the sheet shows it, on a sheet ``width_mm`` wide."""
    half = 1.5
    side = round(2 * half * _PLUG_PX_MM)
    at = (np.arange(side) + 0.5) / _PLUG_PX_MM - half
    far = np.hypot(at[None, :], at[:, None])
    share = 1.0 / (1.0 + np.exp((far - 0.5 * hole.size_mm) / 0.06))
    x = fold_mm + hole.x_mm
    x = width_mm - x if inner else x
    plate = np.round(255.0 * share).astype(np.uint8)
    origin = x - half, head_mm + hole.y_mm - half
    return Ink(plate, _PLUG_PX_MM, RUST, origin, gain=1.0, mottle=0.0)


def moved_hole(
    hole: PlannedHole, move: Movement, fold_mm: float, head_mm: float
) -> tuple[float, float]:
    """Where a hole lies in the frame of the sheet after it moved [mm]."""
    y = head_mm + hole.y_mm
    points = np.array([[fold_mm + hole.x_mm, y], [fold_mm, y], [fold_mm, head_mm]])
    there, fold, head = move.forward(points)
    return float(there[0] - fold[0]), float(there[1] - head[1])
