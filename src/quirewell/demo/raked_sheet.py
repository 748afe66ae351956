"""A printed sheet with cockle and a crease, lit by one lamp after another, its relief known."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RakedSheet:
    """Pictures (k, height, width) and flat white sheets (the same), linear light 0..1, and what
    is true: height [mm], normals (x right, y to the head), crease length [mm]."""

    images: NDArray[np.float32]
    flats: NDArray[np.float32]
    lights: Array
    height_mm: Array
    normals: Array
    crease_mm: float
    px_mm: float


def ring(lamps: int, elevation_deg: float, start_deg: float = 20.0) -> Array:
    """Directions (lamps, 3) evenly all round the sheet."""
    azimuth = np.radians(start_deg + 360.0 * np.arange(lamps) / lamps)
    up = np.radians(elevation_deg)
    return np.column_stack(
        [np.cos(up) * np.sin(azimuth), np.cos(up) * np.cos(azimuth), np.full(lamps, np.sin(up))]
    )


def rake_sheet(
    seed: int,
    lights: Array,
    *,
    size_mm: tuple[float, float] = (110.0, 90.0),
    px_mm: float = 0.25,
    cockle_um: float = 130.0,
    crease_um: float = 100.0,
    lamp_mm: float | None = None,
    noise: float = 0.002,
    printed: bool = True,
) -> RakedSheet:
    """Draw a sheet of ``size_mm`` (width, height) under each of ``lights`` (unit vectors).

    Parameters
    ----------
    cockle_um
        root mean square of the cockle, wavelengths of about 20 to 45 mm [um]
    crease_um
        height of one slanting crease, about a millimetre wide [um]; 0 for none
    lamp_mm
        distance of the lamps from the middle [mm]; far away unless given
    noise
        standard deviation of a picture's noise, as a share of full light
    """
    rng = np.random.default_rng([seed, 77])
    columns, rows = (round(side / px_mm) for side in size_mm)
    x = px_mm * np.asarray(np.arange(columns) - columns / 2 + 0.5, dtype=np.float64)[None, :]
    y = px_mm * np.asarray(rows / 2 - np.arange(rows) - 0.5, dtype=np.float64)[:, None]
    height = _cockle(rng, x, y, cockle_um / 1000)
    crease, length = _crease(x, y, size_mm, crease_um / 1000)
    height = height + crease
    normals = _normals(height, px_mm)
    albedo = _print(rng, rows, columns) if printed else np.full((rows, columns), 0.8)
    images, flats = [], []
    for light in lights:
        way, strength = _lamp(light, x, y, lamp_mm)
        shade = np.clip((normals * way).sum(axis=2), 0, None) * strength
        images.append(albedo * shade + noise * rng.standard_normal(shade.shape))
        flat = 0.9 * np.clip(way[..., 2], 0, None) * strength
        flats.append(flat + noise * rng.standard_normal(flat.shape))
    return RakedSheet(
        np.clip(images, 0, None).astype(np.float32), np.clip(flats, 0, None).astype(np.float32),
        lights, height, normals, length, px_mm,
    )  # fmt: skip


def _cockle(rng: np.random.Generator, x: Array, y: Array, rms_mm: float) -> Array:
    total = np.zeros((y.shape[0], x.shape[1]))
    for _ in range(6):
        angle, wave = rng.uniform(0, np.pi), rng.uniform(20.0, 45.0)
        total += np.sin(
            2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / wave + rng.uniform(0, 6.28)
        )
    return np.asarray(rms_mm * (total - total.mean()) / total.std())


def _crease(
    x: Array, y: Array, size_mm: tuple[float, float], height_mm: float
) -> tuple[Array, float]:
    if not height_mm:
        return np.zeros((y.shape[0], x.shape[1])), 0.0
    half = 0.3 * size_mm[0]
    angle = np.radians(24.0)
    along = x * np.cos(angle) + y * np.sin(angle)
    across = -x * np.sin(angle) + y * np.cos(angle)
    ends = 0.5 * (np.tanh((half - np.abs(along)) / 0.8) + 1)
    return height_mm * np.exp(-((across / 0.5) ** 2)) * ends, 2 * half


def _normals(height: Array, px_mm: float) -> Array:
    down, right = np.gradient(height, px_mm)
    out = np.dstack([-right, down, np.ones_like(height)])
    return np.asarray(out / np.linalg.norm(out, axis=2, keepdims=True))


def _print(rng: np.random.Generator, rows: int, columns: int) -> Array:
    ink = np.zeros((rows, columns), np.uint8)
    for line in range(20, rows - 14, 14):
        words = "".join(rng.choice(list("acemnorst uvdlbp"), columns // 9))
        cv2.putText(ink, words, (12, line), cv2.FONT_HERSHEY_SIMPLEX, 0.35, 255, 1, cv2.LINE_AA)
    page = 0.75 - 0.65 * ink / 255.0
    cloud = cv2.GaussianBlur(rng.standard_normal((rows, columns)), (0, 0), 1.5)
    return np.asarray(page * (1 + 0.03 * cloud / cloud.std()), dtype=np.float64)


def _lamp(light: Array, x: Array, y: Array, lamp_mm: float | None) -> tuple[Array, Array]:
    """Direction to the lamp (rows, columns, 3) and its strength [-] at every point."""
    shape = (y.shape[0], x.shape[1])
    if lamp_mm is None:
        return np.broadcast_to(light, (*shape, 3)), np.ones(shape)
    way = np.dstack(
        [
            np.broadcast_to(light[0] * lamp_mm - x, shape),
            np.broadcast_to(light[1] * lamp_mm - y, shape),
            np.full(shape, light[2] * lamp_mm),
        ]
    )
    far = np.linalg.norm(way, axis=2)
    return np.asarray(way / far[..., None]), np.asarray((lamp_mm / far) ** 2)
