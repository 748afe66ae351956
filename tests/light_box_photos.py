"""Photographs of a generated scan as a telephone over a light box makes them: it leans, is turned,
its lens bends lines, its sensor is noisy. The bend is another law than the one fitted."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from hole_scans import Scan

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Photo:
    """``pixels`` and, for places (n, 2) of the scan [px], where they are in the photograph."""

    pixels: NDArray[np.uint8]
    to_scan: Array
    bend: tuple[float, float]

    def place(self, scan_px: Array) -> Array:
        """Places of the scan in the photograph."""
        there = np.column_stack([scan_px, np.ones(len(scan_px))]) @ np.linalg.inv(self.to_scan).T
        flat = there[:, :2] / there[:, 2:]
        height, width = self.pixels.shape[:2]
        middle, half = np.array([width / 2, height / 2]), np.hypot(width, height) / 2
        far = (((flat - middle) / half) ** 2).sum(axis=1)[:, None]
        return np.asarray(
            middle + (flat - middle) * (1.0 - self.bend[0] * far - self.bend[1] * far**2)
        )


def photograph(
    made: Scan, seed: int, *, lean_deg: tuple[float, float] = (4.0, -3.0), turn_deg: float = 1.5,
    bend: tuple[float, float] = (0.004, -0.001), focal: float = 0.72, width_px: int = 0,
    noise: float = 1.5, off: float = 0.02, panel: str = "whole",
) -> Photo:  # fmt: skip
    """Photograph a scan laid on a light box.

    ``lean_deg`` about the picture's level and upright axes, ``bend`` the share by which the lens
    draws the corner in (third and fifth order), ``focal`` over the width of the picture, ``off``
    how far the sheet lies off the middle, ``panel`` the half that the camera looks at.
    """
    rng = np.random.default_rng([seed, 73])
    tall, whole = made.pixels.shape[:2]
    # Half of the scan and a little beyond the fold.
    wide = whole if panel == "whole" else 0.53 * whole
    middle_x = {"whole": 0.5, "left": 0.265, "right": 0.735}[panel] * whole
    width = width_px or round(max(tall, wide))
    height = round(0.75 * width) if wide > tall else round(width / 0.75)
    f = focal * max(width, height)
    about_x, about_y = np.radians(lean_deg)
    leaned = cv2.Rodrigues(np.array([about_x, about_y, 0.0]))[0]
    turned = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(turn_deg)]))[0]
    # So far away that the sheet fills most of the picture.
    away = f * max(wide / width, tall / height) / 0.86
    plane = np.array([[1, 0, -middle_x], [0, 1, -tall / 2], [0, 0, 1.0]])
    pose = (leaned @ turned).copy()
    seen = np.column_stack([pose[:, 0], pose[:, 1], [off * width, -off * height, away]])
    camera = np.array([[f, 0, width / 2], [0, f, height / 2], [0, 0, 1.0]])
    to_scan = np.linalg.inv(camera @ seen @ plane)
    x, y = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    middle, half = np.array([width / 2, height / 2]), np.hypot(width, height) / 2
    bent = np.stack([x, y], axis=-1).reshape(-1, 2)
    flat = bent
    for _ in range(12):
        far = (((flat - middle) / half) ** 2).sum(axis=1)[:, None]
        flat = middle + (bent - middle) / (1.0 - bend[0] * far - bend[1] * far**2)
    there = np.column_stack([flat, np.ones(len(flat))]) @ to_scan.T
    there = (there[:, :2] / there[:, 2:] - 0.5).reshape(height, width, 2).astype(np.float32)
    values = cv2.remap(
        made.pixels.astype(np.float32), there, None, cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    values = cv2.GaussianBlur(values, (0, 0), 0.6)
    values = values + noise * rng.standard_normal(values.shape, dtype=np.float32)
    return Photo(np.clip(np.round(values), 0, 255).astype(np.uint8), to_scan, bend)
