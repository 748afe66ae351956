"""CIEDE2000 of planted tones, computed apart from the code that the demo is there to test."""

from __future__ import annotations

import math

Lab = tuple[float, float, float]


def ciede2000(one: Lab, other: Lab) -> float:
    """CIEDE2000 colour difference [-] with unit weights (source ``sharma2005``)."""
    chroma = 0.5 * (math.hypot(one[1], one[2]) + math.hypot(other[1], other[2]))
    g = 0.5 * (1.0 - math.sqrt(chroma**7 / (chroma**7 + 25.0**7)))
    c1, h1 = _polar(one[1] * (1 + g), one[2])
    c2, h2 = _polar(other[1] * (1 + g), other[2])
    turn = (h2 - h1 + 180.0) % 360.0 - 180.0 if c1 * c2 else 0.0
    d_hue = 2.0 * math.sqrt(c1 * c2) * math.sin(math.radians(turn) / 2.0)
    hue = (h1 + turn / 2.0) % 360.0 if c1 * c2 else h1 + h2
    light, c = 0.5 * (one[0] + other[0]), 0.5 * (c1 + c2)
    t = 1.0 + sum(
        weight * math.cos(math.radians(times * hue + shift))
        for weight, times, shift in ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.20, 4, -63))
    )
    s_l = 1.0 + 0.015 * (light - 50.0) ** 2 / math.sqrt(20.0 + (light - 50.0) ** 2)
    s_c, s_h = 1.0 + 0.045 * c, 1.0 + 0.015 * c * t
    bend = 60.0 * math.exp(-(((hue - 275.0) / 25.0) ** 2))
    r_t = -2.0 * math.sqrt(c**7 / (c**7 + 25.0**7)) * math.sin(math.radians(bend))
    d_l, d_c, d_h = (other[0] - one[0]) / s_l, (c2 - c1) / s_c, d_hue / s_h
    return math.sqrt(d_l**2 + d_c**2 + d_h**2 + r_t * d_c * d_h)


def _polar(a: float, b: float) -> tuple[float, float]:
    return math.hypot(a, b), math.degrees(math.atan2(b, a)) % 360.0
