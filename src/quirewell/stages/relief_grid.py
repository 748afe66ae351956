"""Raking pictures laid on the grid of another picture of the sheet: its scan, or an earlier set.

The camera may have looked at the sheet turned and at another scale; the lamps are turned with
the pictures, or every slope would point the wrong way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import srgb_from_linear
from quirewell.science.imaging.lamps import Lamp
from quirewell.science.imaging.register import NoRegistration, Registration, register

Light = NDArray[np.float32]
LONGEST_PX = 2000


class NotLaid(ValueError):
    """Pictures that cannot be laid on the picture given as grid; the message says why."""


@dataclass(frozen=True, slots=True)
class Laid:
    """Pictures and flat sheets on the grid, the lamps as seen from it, and how large a pixel of
    the grid is in pixels of the pictures given (both as reduced)."""

    stack: Light
    flats: Light | None
    lamps: tuple[Lamp, ...]
    ratio: float


def reduced(light: Light, longest_px: int = LONGEST_PX) -> tuple[Light, float]:
    """A picture with its longer side at most ``longest_px`` [px], and by how much smaller."""
    shrink = max(1.0, max(light.shape) / longest_px)
    if shrink == 1.0:
        return light, 1.0
    size = (round(light.shape[1] / shrink), round(light.shape[0] / shrink))
    return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32), shrink


def laid_on(grid: Light, stack: Light, flats: Light | None, lamps: Sequence[Lamp]) -> Laid:
    """Lay pictures (k, height, width) on ``grid`` (height, width), all linear light.

    Raises:
        NotLaid: when the print of the two does not agree, with the reason.
    """
    match = register(_grey(grid), _grey(np.asarray(stack.mean(axis=0), np.float32)))
    if isinstance(match, NoRegistration):
        raise NotLaid(
            f"the pictures cannot be laid on the other picture of the sheet: {match.says}"
        )
    linear = np.asarray(match.fit.affine)[:, :2]
    turned = tuple(_turned(lamp, _turn_deg(linear)) for lamp in lamps)
    ratio = math.sqrt(abs(float(np.linalg.det(linear))))
    places = _places(match, grid.shape)
    return Laid(
        np.stack([_warped(part, places) for part in stack]),
        None if flats is None else np.stack([_warped(part, places) for part in flats]),
        turned,
        ratio,
    )


def _turn_deg(linear: NDArray[np.float64]) -> float:
    """Turn of the pictures against the grid, clockwise as seen [degrees]: the rotation nearest
    to the even part of the match (polar decomposition)."""
    left, _, right = np.linalg.svd(linear)
    rotation = left @ right
    return math.degrees(math.atan2(rotation[1, 0], rotation[0, 0]))


def _turned(lamp: Lamp, turn_deg: float) -> Lamp:
    """A lamp as the grid sees it: what the pictures turned clockwise is turned back."""
    return replace(lamp, azimuth_deg=(lamp.azimuth_deg - turn_deg) % 360)


def _places(match: Registration, shape: tuple[int, ...]) -> tuple[Light, Light]:
    xs, ys = (np.arange(side, dtype=np.float64) for side in (shape[1], shape[0]))
    x, y = match.after_at(xs, ys)
    return np.asarray(x, np.float32), np.asarray(y, np.float32)


def _warped(light: Light, places: tuple[Light, Light]) -> Light:
    out = cv2.remap(np.ascontiguousarray(light), *places, cv2.INTER_CUBIC)
    return np.asarray(np.clip(out, 0, None), np.float32)


def _grey(light: Light) -> NDArray[np.uint8]:
    top = max(float(np.quantile(light[::5, ::5], 0.99)), 1e-6)
    return np.round(srgb_from_linear(np.clip(light / top, 0, 1)) * 255).astype(np.uint8)
