"""Generated scans of a folded sheet with planted staple holes, on every ground."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.demo.coverage import coverage
from quirewell.demo.outline import draw_outline, edge_line
from quirewell.demo.tone import encode, linear_from_lab, smooth_noise

Array = NDArray[np.float64]
HALF_MM, HEIGHT_MM = 34.0, 96.0
LEGS_MM = (20.0, 33.0, 63.0, 76.0)
INK = np.array([0.075, 0.07, 0.07])


@dataclass(frozen=True)
class Plant:
    """A staple hole, or its decoy: ``x_mm`` from the fold to the right as the picture shows it,
    ``y_mm`` from the head edge at the fold; of a torn one the place of the wire."""

    state: str
    x_mm: float
    y_mm: float
    size_mm: float = 0.75
    tear_mm: float = 0.0
    tear_deg: float = 90.0


@dataclass(frozen=True)
class Scan:
    pixels: NDArray[np.uint8]
    px_mm: tuple[float, float]
    plants: tuple[Plant, ...]


def plants(
    seed: int, states: tuple[str, ...] = ("clean",) * 4, times: float = 1.0
) -> tuple[Plant, ...]:
    """A sheet's four holes with its own shift and each with its own small one; ``times`` as far
    from the head as on the small sheet."""
    rng = np.random.default_rng([seed, 71])
    shift = rng.normal(0.0, 0.2, 2)
    out = []
    for state, y in zip(states, LEGS_MM, strict=True):
        x, dy = rng.normal(0.0, 0.08, 2)
        out.append(
            Plant(
                state, float(shift[0] + x), float(times * y + shift[1] + dy),
                float(rng.uniform(0.6, 0.9)),
                float(rng.uniform(1.4, 2.6)) if state == "torn" else 0.0,
                float(rng.choice([85.0, 270.0])),
            )
        )  # fmt: skip
    return tuple(out)


def scan(
    seed: int, dpi: int, light: str, planted: tuple[Plant, ...], *, panel: str = "whole",
    skew_deg: float | None = None, printed: bool = True, decoys: tuple[Plant, ...] = (),
    depth: int = 8, noise: float = 1.2, grey: bool = False, fold: bool = True,
    times: float = 1.0,
) -> Scan:  # fmt: skip
    """A scan of a small sheet (68 x 96 mm, ``times`` larger) in ``light`` dark, light or
    transmitted.

    ``decoys`` have the state "ink" (a printed dot), "worm" (a clean hole that is no staple's) or
    "stain"; ``panel`` left or right cuts the picture off 8 mm beyond the fold.
    """
    rng = np.random.default_rng([seed, 72])
    half, tall = times * HALF_MM, times * HEIGHT_MM
    px = 25.4 / dpi * (1.0 + 0.001 * rng.standard_normal())
    skew = float(rng.uniform(-2.0, 2.0)) if skew_deg is None else skew_deg
    margin = 7.0
    size = int((tall + 2 * margin) / px), int((2 * half + 2 * margin) / px)
    outline = draw_outline(rng, 2 * half, tall, roughness_mm=0.03)
    offset, slope = edge_line(outline, "head")
    origin = np.array([half, offset + slope * half])
    angle = np.radians(skew)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    middle = np.array([half, tall / 2])
    at = np.array([size[1], size[0]]) * px / 2 + rng.uniform(-0.4, 0.4, 2)

    def glass(points: Array) -> Array:
        return ((points - middle) @ turn.T + at) / px

    holes = [_opening(rng, plant) + origin for plant in (*planted, *decoys)
             if plant.state in ("clean", "torn", "rusted", "worm")]  # fmt: skip
    alpha = coverage([glass(p) for p in (outline.polygons()[0], *holes)], *size)
    u, v = np.meshgrid((np.arange(size[1]) + 0.5) * px, (np.arange(size[0]) + 0.5) * px)
    back = np.stack([u - at[0], v - at[1]], axis=-1) @ turn + middle - origin
    paper = _paper(rng, back[..., 0], back[..., 1], px, (*planted, *decoys), printed, fold, light)
    picture = _lit(rng, alpha, paper, light, px)
    picture = cv2.GaussianBlur(picture, (0, 0), max(0.45, 0.030 / px))
    values = encode(np.minimum(picture, 1.0).astype(np.float32)) * 255.0
    values = values + noise * rng.standard_normal(values.shape, dtype=np.float32)
    values = np.clip(values, 0, 255)
    if grey:
        values = np.repeat(values[..., 1:2], 3, axis=2)
    cut = _cut(panel, glass(origin[None])[0, 0], 8.0 / px, size[1])
    values = values[:, cut]
    if depth == 16:
        return Scan(np.round(values * 257.0).astype(np.uint16), (px, px), planted)
    return Scan(np.round(values).astype(np.uint8), (px, px), planted)


def _cut(panel: str, fold_px: float, beyond_px: float, width: int) -> slice:
    if panel == "left":
        return slice(0, min(width, int(fold_px + beyond_px)))
    return slice(max(0, int(fold_px - beyond_px)) if panel == "right" else 0, width)


def _opening(rng: np.random.Generator, plant: Plant) -> Array:
    """The rim of a hole, running the way a hole in an outline runs; a tear is a narrow wedge."""
    angle = -np.linspace(0, 2 * np.pi, 72, endpoint=False)
    lobes = 0.05 * np.sin(3 * angle + 6.0 * rng.random()) + 0.03 * np.sin(5 * angle)
    radius = 0.5 * plant.size_mm * (1.0 + lobes)
    if plant.tear_mm:
        away = np.abs((angle - np.radians(plant.tear_deg) + np.pi) % (2 * np.pi) - np.pi)
        half = 0.13 / (0.5 * plant.size_mm)
        wedge = np.clip(1.0 - away / half, 0.0, 1.0)
        radius = radius + plant.tear_mm * wedge
    rim = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    return np.asarray(rim + np.array([plant.x_mm, plant.y_mm]))


def _paper(
    rng: np.random.Generator, x: Array, y: Array, px: float, things: tuple[Plant, ...],
    printed: bool, fold: bool, light: str,
) -> Array:  # fmt: skip
    """Light from the sheet, seen from above or let through."""
    tone = linear_from_lab((float(rng.uniform(72, 84)), 4.0, float(rng.uniform(16, 25))))
    rows, columns = x.shape
    grain = smooth_noise(rng, rows, columns, max(1.0, 0.10 / px))
    cloud = smooth_noise(rng, rows, columns, 3.0 / px)
    shade = 1.0 + 0.035 * grain + 0.025 * cloud
    if fold:
        away = np.abs(x)
        shade *= 1.0 - 0.18 * np.exp(-((away / 0.3) ** 2))
    out = tone * shade[..., None]
    if light == "transmitted":
        out = 0.45 * out**1.3 * (1.0 + 0.10 * cloud[..., None])
    if printed:
        out = out * (1.0 - (1.0 - INK) * _print(rng, x, y)[..., None])
    for thing in things:
        far = np.hypot(x - thing.x_mm, y - thing.y_mm)
        if thing.state == "rusted":
            ring = np.exp(-((far / 1.1) ** 2))
            out = out * (1.0 - np.array([0.35, 0.60, 0.78]) * ring[..., None])
        if thing.state == "plugged":
            spot = 1.0 / (1.0 + np.exp(np.minimum((far - 0.5 * thing.size_mm) / 0.05, 50.0)))
            out = out * (1.0 - np.array([0.72, 0.86, 0.94]) * spot[..., None])
        if thing.state == "ink":
            spot = np.clip((0.5 * thing.size_mm - far) / px + 0.5, 0.0, 1.0)
            out = out * (1.0 - (1.0 - INK) * spot[..., None])
    return np.asarray(out)


_PLATE_PX_MM = 24.0


def _print(rng: np.random.Generator, x: Array, y: Array) -> Array:
    """Lines of strokes like print, from 2.2 mm beside the fold on both pages."""
    reach = 13.0
    plate = np.zeros((int(HEIGHT_MM * _PLATE_PX_MM), int(2 * reach * _PLATE_PX_MM)), np.float32)
    for row in np.arange(8.0, HEIGHT_MM - 8.0, 3.6):
        for side in (-1.0, 1.0):
            place = 2.2 + 0.6 * rng.random()
            while place < 12.0:
                wide, tall = rng.uniform(0.25, 0.5), rng.uniform(1.0, 1.8)
                ends = sorted((reach + side * place, reach + side * (place + wide)))
                left, right = (round(_PLATE_PX_MM * end) for end in ends)
                top, foot = round(_PLATE_PX_MM * row), round(_PLATE_PX_MM * (row + tall))
                plate[top:foot, left:right] = 0.95
                place += wide + rng.uniform(0.3, 0.9)
    at_x = ((x + reach) * _PLATE_PX_MM - 0.5).astype(np.float32)
    at_y = (y * _PLATE_PX_MM - 0.5).astype(np.float32)
    return np.asarray(cv2.remap(plate, at_x, at_y, cv2.INTER_LINEAR), np.float64)


def _lit(rng: np.random.Generator, alpha: Array, paper: Array, light: str, px: float) -> Array:
    rows, columns = alpha.shape
    cloud = smooth_noise(rng, rows, columns, 20.0 / px)
    if light == "dark":
        ground = np.array([0.021, 0.021, 0.022]) * (1.0 + 0.08 * cloud[..., None])
        depth = 0.4
    elif light == "light":
        ground = np.array([0.87, 0.87, 0.85]) * (1.0 + 0.01 * cloud[..., None])
        depth = 0.25
    else:
        ground = np.array([1.15, 1.15, 1.12]) * (1.0 + 0.02 * cloud[..., None])
        depth = 0.0
    soft = cv2.GaussianBlur(alpha.astype(np.float32), (0, 0), 0.8 / px)
    ground = ground * (1.0 - depth * soft[..., None])
    return np.asarray(ground + alpha[..., None] * (paper - ground))
