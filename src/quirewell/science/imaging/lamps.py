"""Where the lamps stood: as azimuth and elevation, or read from a glossy sphere.

Azimuth is where a lamp stands, clockwise from the head of the picture (0 above it, 90 to its
right); elevation is its height above the sheet. Vectors have x to the right, y to the head and
z towards the viewer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

ELEVATION_DEG = (2.0, 89.0)
_APART_DEG = 3.0
_FLATTEST = 0.06
_HIGHLIGHT, _GLOW = 0.9, 0.25
_WITHIN = 0.78


@dataclass(frozen=True, slots=True)
class Lamp:
    """One lamp: ``azimuth_deg`` clockwise from the head, ``elevation_deg`` above the sheet."""

    azimuth_deg: float
    elevation_deg: float

    @property
    def vector(self) -> tuple[float, float, float]:
        """Unit vector from the sheet to the lamp."""
        azimuth, elevation = math.radians(self.azimuth_deg), math.radians(self.elevation_deg)
        level = math.cos(elevation)
        return level * math.sin(azimuth), level * math.cos(azimuth), math.sin(elevation)


@dataclass(frozen=True, slots=True)
class Sphere:
    """A glossy sphere in every picture: middle and radius [px]."""

    x_px: float
    y_px: float
    radius_px: float


def check_lights(lights: Array) -> Array:
    """Unit vectors (k, 3) of lights that can tell slopes apart.

    Raises:
        ValueError: too few, one light twice, nearly in one plane, or no numbers.
    """
    plain = np.asarray(lights, dtype=np.float64)
    if plain.ndim != 2 or plain.shape[1] != 3:
        raise ValueError(f"lights are k directions of x, y, z, got an array {plain.shape}")
    if len(plain) < 3:
        raise ValueError(
            f"slopes need three lights or more, not in one line, got {len(plain)}; from two "
            "lights only a slope picture can be had"
        )
    length = np.linalg.norm(plain, axis=1)
    if not np.isfinite(plain).all() or (length < 1e-9).any():
        raise ValueError("every light needs a direction: three finite numbers, not all zero")
    unit = plain / length[:, None]
    near = np.triu(unit @ unit.T, 1) > math.cos(math.radians(_APART_DEG))
    if near.any():
        one, two = (int(index) + 1 for index in np.argwhere(near)[0])
        raise ValueError(
            f"lights {one} and {two} come from the same side (within {_APART_DEG:g} degrees): was "
            "one picture given twice, or one lamp not moved?"
        )
    values = np.linalg.svd(unit, compute_uv=False)
    if values[2] < _FLATTEST * values[0]:
        raise ValueError(
            "the lights lie nearly in one plane, so one slope cannot be seen: spread the lamps "
            "all round the sheet, at 20 to 30 degrees above it"
        )
    return np.asarray(unit)


def lamp_from_sphere(grey: NDArray[np.generic], sphere: Sphere) -> Lamp:
    """The lamp whose highlight a glossy sphere shows in a grey picture (height, width).

    The sphere's normal at the highlight halves the angle between lamp and viewer, who is taken
    to be far above the sheet. The lens must look straight down.

    Raises:
        ValueError: when the sphere leaves the picture or shows no highlight.
    """
    r = sphere.radius_px
    cx, cy = highlight_px(grey, sphere)
    n = np.array([(cx - sphere.x_px) / r, (sphere.y_px - cy) / r, 0.0])
    n[2] = math.sqrt(max(0.0, 1.0 - n[0] ** 2 - n[1] ** 2))
    light = 2 * n[2] * n - np.array([0.0, 0.0, 1.0])
    elevation = math.degrees(math.asin(max(-1.0, min(1.0, light[2]))))
    if elevation < ELEVATION_DEG[0]:
        raise ValueError(
            "the highlight lies so near the sphere's rim that the lamp would stand below the "
            "sheet; is the sphere's radius right?"
        )
    return Lamp(math.degrees(math.atan2(light[0], light[1])) % 360, min(elevation, 89.0))


def highlight_px(grey: NDArray[np.generic], sphere: Sphere) -> tuple[float, float]:
    """Middle of the largest highlight that a glossy sphere shows [px].

    Raises:
        ValueError: when the sphere leaves the picture or shows no highlight.
    """
    x, y, r = sphere.x_px, sphere.y_px, sphere.radius_px
    height, width = grey.shape
    if not (r <= x <= width - r and r <= y <= height - r):
        raise ValueError(
            f"the sphere at {x:g}, {y:g} with radius {r:g} px does not lie in the picture of "
            f"{width} x {height} px"
        )
    top, left = int(y - r), int(x - r)
    part = np.asarray(grey, dtype=np.float64)[top : int(y + r) + 2, left : int(x + r) + 2]
    rows, columns = np.mgrid[: part.shape[0], : part.shape[1]]
    nx, ny = (columns + left - x) / r, (y - rows - top) / r
    # A lamp above the sheet shines within sin 45 degrees of the middle; further out the sphere
    # mirrors the sheet it lies on.
    inside = nx**2 + ny**2 < _WITHIN**2
    middle = float(np.median(part[inside]))
    peak = float(part[inside].max())
    bright = inside & (part > middle + _HIGHLIGHT * (peak - middle))
    if peak < 1.5 * middle + 1e-9 or bright.sum() > 0.1 * inside.sum():
        raise ValueError(
            "the sphere shows no clear highlight: it must be glossy and dark (a black glass "
            "bead), and nothing but the lamp may shine on it"
        )
    _, labels, stats, _ = cv2.connectedComponentsWithStats(bright.astype(np.uint8))
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    # Weighed by its light, so that a highlight smaller than a pixel is still placed within one.
    near = cv2.dilate((labels == best).astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    glow = np.where(near & inside, part - middle - _GLOW * (peak - middle), 0.0).clip(0, None)
    cx, cy = (float((glow * axis).sum() / glow.sum()) for axis in (columns, rows))
    return cx + left, cy + top


def vectors(lamps: Sequence[Lamp]) -> Array:
    """Unit vectors (k, 3) of lamps."""
    return np.array([lamp.vector for lamp in lamps], dtype=np.float64).reshape(-1, 3)
