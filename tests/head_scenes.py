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


def photographed(
    scene: NDArray[Any], lean_x_deg: float = 0.0, lean_y_deg: float = 0.0, *, above_px: int = 0,
    below_px: int = 0, beyond_px: int = 0,
) -> NDArray[Any]:  # fmt: skip
    """The scene through a pinhole camera that leans about the picture's x and y axes, its focal
    length 0.75 of the picture's longer side; ground is put above, below
    and on its right, which moves the block out of the middle."""
    ground = float(np.median(scene[:20]))
    tall, wide = scene.shape
    padded = np.full((above_px + tall + below_px, wide + beyond_px), ground, np.float32)
    padded[above_px : above_px + tall, :wide] = scene
    height, width = padded.shape
    focal = 0.75 * max(height, width)
    lens = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(np.radians([lean_x_deg, 0.0, 0.0]))
    other, _ = cv2.Rodrigues(np.radians([0.0, lean_y_deg, 0.0]))
    seen: NDArray[Any] = cv2.warpPerspective(
        padded, lens @ turn @ other @ np.linalg.inv(lens), (width, height),
        flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return seen
