"""The bench strip as it lies on the demo's glass (a stand-in geometry for now)."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.demo.scanner import Laid, Pose

LENGTH_MM, HEIGHT_MM = 180.0, 14.0
MARK_MM = 10.0


@lru_cache(maxsize=4)
def _grey(px_per_mm: float) -> NDArray[np.uint8]:
    size = (round(HEIGHT_MM * px_per_mm), round(LENGTH_MM * px_per_mm))
    grey = np.full(size, 235, np.uint8)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = round(MARK_MM * px_per_mm)
    top = round((HEIGHT_MM - MARK_MM) / 2 * px_per_mm)
    for index, left_mm in enumerate((2.0, 42.0, 128.0, 168.0)):
        left = round(left_mm * px_per_mm)
        grey[top : top + side, left : left + side] = cv2.aruco.generateImageMarker(
            book, index, side
        )
    for index in range(6):
        left = round((58.0 + 11.0 * index) * px_per_mm)
        grey[top : top + side, left : left + side] = 40 + 36 * index
    return grey


def lay_strip(at_mm: tuple[float, float], skew_deg: float, dpi: int, error: float = 0.0) -> Laid:
    """The strip with its upper left corner at a glass point; ``error`` [-] is its printer's."""
    px_per_mm = max(16.0, dpi / 25.4 * 3.0)
    px_per_mm = round(px_per_mm)
    stretched = 1.0 + error
    marks = {
        "first": (7.0 * stretched, 7.0 * stretched),
        "last": (173.0 * stretched, 7.0 * stretched),
    }
    return Laid(
        _grey(px_per_mm),
        px_per_mm / stretched,
        (LENGTH_MM * stretched, HEIGHT_MM * stretched),
        Pose((0.0, 0.0), at_mm, skew_deg),
        marks,
    )
