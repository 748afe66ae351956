"""Photographs of the head of a closed pamphlet, drawn: leaves, tones and roll planted."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray


def head_scene(
    roll_deg: float, *, tilt_deg: float = 0.0, thick_px: int = 60, leaves: int = 30, seed: int = 0,
    light: bool = True, rough_px: float = 0.6, left: bool = False,
) -> NDArray[Any]:  # fmt: skip
    """A block lying level; the upper leaf stands out by the roll, each leaf by chance."""
    rng = np.random.default_rng(seed)
    fine, width, height = 4, 1400, 300
    picture = np.full((height * fine, width * fine), 0.15 if light else 0.9, np.float32)
    step = thick_px * fine / leaves
    top = height * fine / 2 - thick_px * fine / 2
    for leaf in range(leaves):
        middle = top + (leaf + 0.5) * step - height * fine / 2
        end = 0.8 * width * fine - math.tan(math.radians(roll_deg)) * middle
        end += rng.normal(0, rough_px * fine)
        first, last = round(top + leaf * step), round(top + (leaf + 1) * step)
        start, stop = int(0.05 * width * fine), round(end)
        picture[first:last, start:stop] = (0.8 if light else 0.3) + rng.normal(0, 0.04)
        picture[first : first + 1, start:stop] -= 0.2
    turn = cv2.getRotationMatrix2D((width * fine / 2, height * fine / 2), tilt_deg, 1)
    turned = cv2.warpAffine(
        picture, turn, (width * fine, height * fine), borderMode=cv2.BORDER_REPLICATE
    )
    small = cv2.resize(turned, (width, height), interpolation=cv2.INTER_AREA)
    seen: NDArray[Any] = cv2.GaussianBlur(small, (0, 0), 1) + rng.normal(0, 0.015, small.shape)
    return np.ascontiguousarray(seen[:, ::-1]) if left else seen
