"""A glossy black bead beside a printed leaf under one raking lamp after another, for tests.

The bead mirrors the lamp, and near its rim, as glass does (Fresnel's law, n = 1.5), the paper it
lies on; it throws a shadow. Drawn three times finer than the picture and averaged.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.lamps import Lamp

Light = NDArray[np.float32]
FINE = 3
SIZE = (420, 560)


def bead_scene(
    seed: int,
    lamps: Sequence[Lamp],
    beads: Sequence[tuple[float, float, float]],
    *,
    ground: float = 0.55,
    blur_px: float = 0.8,
    noise: float = 0.004,
    glossy: bool = True,
) -> list[Light]:
    """Linear pictures, one a lamp; ``beads`` are (x, y, radius) in pixels."""
    rng = np.random.default_rng([seed, 5])
    albedo = _ground(rng, ground)
    rows, columns = (np.mgrid[: FINE * SIZE[0], : FINE * SIZE[1]] + 0.5) / FINE - 0.5
    pictures = []
    for lamp in lamps:
        light = np.array(lamp.vector)
        picture = albedo * light[2] * (1 + 0.0004 * (light[0] * columns - light[1] * rows))
        lit = picture.copy()
        for x, y, r in beads:
            picture[_shadow(columns - x, y - rows, r, light)] *= 0.06
        for x, y, r in beads:
            nx, ny = (columns - x) / r, (y - rows) / r
            inside = nx**2 + ny**2 < 1
            picture[inside] = _bead(nx[inside], ny[inside], light, float(lit.mean()), glossy)
        small = cv2.resize(picture, SIZE[::-1], interpolation=cv2.INTER_AREA)
        soft = cv2.GaussianBlur(small, (0, 0), blur_px)
        noisy = soft + noise * rng.standard_normal(soft.shape)
        pictures.append(np.clip(noisy, 0, 1).astype(np.float32))
    return pictures


def _ground(rng: np.random.Generator, ground: float) -> NDArray[np.float64]:
    """Card with a printed leaf on its left, some print as round as a bead."""
    height, width = FINE * SIZE[0], FINE * SIZE[1]
    page = np.full((height, width), ground)
    left, right, top, foot = (FINE * side for side in (30, 340, 30, 390))
    page[top:foot, left:right] = 0.72
    ink = np.zeros((height, width), np.uint8)
    for line in range(top + 60, foot - 30, 48):
        words = "".join(rng.choice(list("acemnorstuoovdlbp "), 34))
        font = cv2.FONT_HERSHEY_SIMPLEX
        cv2.putText(ink, words, (left + 30, line), font, 1.0, 255, 3, cv2.LINE_AA)
    cv2.circle(ink, (FINE * 120, FINE * 300), FINE * 24, 255, cv2.FILLED, cv2.LINE_AA)
    cv2.circle(ink, (FINE * 220, FINE * 300), FINE * 24, 255, 6, cv2.LINE_AA)
    page = page + (0.1 - page) * (ink / 255.0)
    cloud = cv2.GaussianBlur(rng.standard_normal((height, width)), (0, 0), 4)
    return page * (1 + 0.03 * cloud / cloud.std())


def _shadow(
    x: NDArray[np.float64], y: NDArray[np.float64], r: float, light: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Ground whose way to the lamp is cut off by a bead of radius ``r`` lying on it."""
    along = x * light[0] + y * light[1] - r * light[2]
    gap2 = x**2 + y**2 + r**2 - along**2
    return np.asarray((gap2 < r**2) & (along < 0))


def _bead(
    nx: NDArray[np.float64],
    ny: NDArray[np.float64],
    light: NDArray[np.float64],
    paper: float,
    glossy: bool,
) -> NDArray[np.float64]:
    nz = np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1))
    facing = np.clip(nx * light[0] + ny * light[1] + nz * light[2], 0, None)
    if not glossy:
        return np.asarray(0.04 * facing)
    inner = np.sqrt(1 - (1 - nz**2) / 1.5**2)
    s = ((nz - 1.5 * inner) / (nz + 1.5 * inner)) ** 2
    p = ((inner - 1.5 * nz) / (inner + 1.5 * nz)) ** 2
    mirror = 0.5 * (s + p)
    back = 2 * nz * facing - light[2]
    below = 2 * nz**2 - 1 < 0
    seen = np.where(below, 0.4 * paper, 0.02)
    lamp = 40.0 * (back > math.cos(math.radians(2.5)))
    return np.asarray(0.01 + mirror * (seen + lamp))
