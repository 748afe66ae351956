"""The outlook's draws and a year of hourly climate, beside the same in plain Python.

The peers, in the same run, do the same arithmetic reading by reading and draw by draw.
"""

from __future__ import annotations

import math
import random
import time
from typing import Any

import numpy as np

DRAWS, HOURS = 20_000, 8760


def bench() -> dict[str, Any]:
    """Seconds, and ratios to the peers."""
    from quirewell.science.paper.climate import climate
    from quirewell.science.paper.outlook import Ph, Store, outlook

    stores = Store(21, 0.55), Store(17, 0.45)
    outlook(Ph(5, 0.1), Ph(8, 0.1), *stores)
    start = time.perf_counter()
    outlook(Ph(5, 0.1), Ph(8, 0.1), *stores, draws=DRAWS)
    ratio_s = time.perf_counter() - start
    hour = np.arange(HOURS)
    t = 21 + 8 * np.sin(2 * np.pi * hour / HOURS) + 1.5 * np.sin(2 * np.pi * hour / 24)
    h = 0.5 + 0.15 * np.sin(2 * np.pi * hour / HOURS)
    climate(t, h, np.ones(HOURS))
    start = time.perf_counter()
    climate(t, h, np.ones(HOURS))
    climate_s = time.perf_counter() - start
    peer_ratio_s, peer_climate_s = _peer_ratio(), _peer_climate(t, h)
    return {
        "draws": DRAWS,
        "outlook_s": round(ratio_s, 4),
        "outlook_over_peer": round(ratio_s / peer_ratio_s, 3),
        "hours": HOURS,
        "climate_s": round(climate_s, 4),
        "climate_over_peer": round(climate_s / peer_climate_s, 3),
    }


def _rate(t: float, h: float, energy: float, law: int) -> float:
    heat = math.exp(energy / 8.31446 * (1 / 293.15 - 1 / (t + 273.15)))
    if law == 0:
        return heat * h / 0.5
    if law == 1:
        return heat * (h / 0.5) ** 1.3
    water = (math.log(1 - h) / (1.67 * 20 - 285.655)) ** (1 / (2.491 - 0.24))
    return heat * math.exp(36.72 * (water - 0.0728))


def _peer_ratio() -> float:
    draw = random.Random(1)
    start = time.perf_counter()
    out = []
    for _ in range(DRAWS):
        energy, law = draw.gauss(108e3, 9e3), draw.randrange(3)
        slope, change = draw.gauss(0.244, 0.05), draw.gauss(8, 0.1) - draw.gauss(5, 0.1)
        one = _rate(draw.gauss(21, 0.5), draw.gauss(0.55, 0.03), energy, law)
        other = _rate(draw.gauss(17, 0.5), draw.gauss(0.45, 0.03), energy, law)
        out.append(10 ** (slope * change) * one / other)
    out.sort()
    return time.perf_counter() - start


def _peer_climate(t: Any, h: Any) -> float:
    start = time.perf_counter()
    for law in range(3):
        for step in range(7):
            sum(_rate(a, b, 90e3 + 6e3 * step, law) for a, b in zip(t, h, strict=True))
    return time.perf_counter() - start


if __name__ == "__main__":
    print(bench())
