"""Colour difference."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def ciede2000(one: NDArray[np.floating], other: NDArray[np.floating]) -> Array:
    """CIEDE2000 colour difference [-] of CIELAB values (..., 3), unit weights.

    Follows the implementation notes of ``sharma2005``: hue angles in [0, 360), the mean hue of
    a pair that straddles 0, and a grey partner that has no hue.
    """
    l1, a1, b1 = np.moveaxis(np.asarray(one, dtype=np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(other, dtype=np.float64), -1, 0)
    mean7 = (0.5 * (np.hypot(a1, b1) + np.hypot(a2, b2))) ** 7
    g = 1.0 + 0.5 * (1.0 - np.sqrt(mean7 / (mean7 + 25.0**7)))
    c1, c2 = np.hypot(g * a1, b1), np.hypot(g * a2, b2)
    h1 = np.degrees(np.arctan2(b1, g * a1)) % 360.0
    h2 = np.degrees(np.arctan2(b2, g * a2)) % 360.0
    grey = c1 * c2 == 0
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(grey, 0.0, turn)
    d_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2)
    total = h1 + h2
    apart = np.abs(h1 - h2) > 180
    hue = np.where(apart, np.where(total < 360, total + 360, total - 360), total) / 2
    hue = np.where(grey, total, hue)
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    bend = np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2)))
    r_t = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(bend)
    parts = (l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h
    square = parts[0] ** 2 + parts[1] ** 2 + parts[2] ** 2 + r_t * parts[1] * parts[2]
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))
