"""Pictures of a 24-patch target on a bench, with planted place and light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import linear_from_lab, srgb_from_linear
from quirewell.science.colour.target24 import edition_lab

PITCH = 40
_PAD = 26


@dataclass(frozen=True)
class Shot:
    pixels: NDArray[np.uint8]
    middle_px: NDArray[np.float64]
    light: NDArray[np.float64]


def plain_chart(light: NDArray[np.float64], gap: float = 0.16) -> NDArray[np.float32]:
    """The target from above, 6 x 4 patches with dark gaps, linear light."""
    out = np.full((4 * PITCH + 2 * _PAD, 6 * PITCH + 2 * _PAD, 3), 0.03, np.float32)
    edge = round(gap * PITCH / 2)
    for index, colour in enumerate(light):
        y, x = _PAD + PITCH * (index // 6), _PAD + PITCH * (index % 6)
        out[y + edge : y + PITCH - edge, x + edge : x + PITCH - edge] = colour
    return out


def shoot(
    seed: int = 0,
    *,
    turn_deg: float = 0.0,
    tilt: float = 0.0,
    scale: float = 3.0,
    size: tuple[int, int] = (900, 1200),
    mix: NDArray[np.float64] | None = None,
    shade: NDArray[np.float64] | None = None,
    exposure: float = 0.9,
    noise: float = 0.6,
    mirrored: bool = False,
    ground: float = 0.25,
    clutter: bool = True,
    light: NDArray[np.float64] | None = None,
    bits: int = 8,
) -> Shot:
    """A photograph: target turned and tilted on a bench with papers and a coloured box beside it.

    ``mix`` (3, 3) is the camera's own colour (light = mix @ true light); ``shade`` (H, W) is how
    brightly each place is lit.
    """
    rng = np.random.default_rng(seed)
    true = linear_from_lab(edition_lab("after-2014")) if light is None else light
    seen = np.clip(true @ (np.eye(3) if mix is None else mix).T, 0, None)
    flat = plain_chart(seen)
    high, wide = flat.shape[:2]
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=np.float64)
    middle = corners.mean(axis=0)
    angle = np.radians(turn_deg)
    spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    placed = scale * (corners - middle) @ spin.T
    placed *= 1.0 + tilt * placed[:, 1:] / (scale * high)
    if mirrored:
        placed[:, 0] = -placed[:, 0]
    placed += np.array(size[::-1]) / 2.0 + rng.uniform(-20, 20, 2)
    to_px = cv2.getPerspectiveTransform(corners.astype(np.float32), placed.astype(np.float32))
    scene = np.full((*size, 3), ground, np.float32)
    scene *= 1 + 0.06 * rng.standard_normal((*size, 1)).astype(np.float32)
    if clutter:
        for _ in range(6):
            x, y = rng.integers(0, size[1] - 150), rng.integers(0, size[0] - 150)
            scene[y : y + 110, x : x + 130] = rng.uniform(0.05, 0.8, 3)
        words = np.zeros(size, np.uint8)
        for line in range(20, 400, 12):
            cv2.putText(words, "laid by the hearth", (8, line), 0, 0.4, 255, 1)
        scene *= (1 - 0.8 * words / 255.0)[..., None].astype(np.float32)
    wide_px = cv2.warpPerspective(flat, to_px, size[::-1], flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.ones(flat.shape[:2], np.float32), to_px, size[::-1])
    scene = scene * (1 - mask[..., None]) + wide_px * mask[..., None]
    scene = cv2.GaussianBlur(scene, (0, 0), 0.8) * exposure
    if shade is not None:
        scene = scene * shade[..., None].astype(np.float32)
    top = (1 << bits) - 1
    coded = srgb_from_linear(np.clip(scene, 0, 1)) * top
    coded += noise * top / 255 * rng.standard_normal(coded.shape)
    kind = np.uint8 if bits == 8 else np.uint16
    cells = np.array([[c, r] for r in range(4) for c in range(6)], dtype=np.float64)
    places = (_PAD + PITCH * (cells + 0.5)).astype(np.float32)[:, None]
    at = cv2.perspectiveTransform(places, to_px)[:, 0].astype(np.float64)
    return Shot(np.clip(np.round(coded), 0, top).astype(kind), at, seen * exposure)
