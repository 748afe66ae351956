"""The shape of a step from ground to paper: how wide it is, and whether it was sharpened.

A profile holds the share of paper (0 on the ground, 1 on paper) against the distance from the
edge [px], positive on the paper.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Where the levels of a profile are taken [px]: sharpening reaches less far from the edge.
_FAR_PX = (6.0, 10.0)
_NEAR_PX = (0.8, 3.6)


def straightened(share: Array, steps: Array, at: Array) -> Array:
    """Median profile with each crossing moved to zero."""
    picked = share[:: max(1, len(share) // 400)]
    moved = at[:: max(1, len(at) // 400)][: len(picked)]
    rows = [np.interp(steps, steps - shift, row) for row, shift in zip(picked, moved, strict=True)]
    return np.asarray(np.median(rows, axis=0))


def step_blur(profile: Array, steps: Array) -> float:
    """Standard deviation of a step from where it passes 0.25 and 0.75 (a normal step) [px]."""
    mid = int(np.argmin(np.abs(steps)))
    low = mid
    while low > 0 and profile[low] > 0.25:
        low -= 1
    high = mid
    while high < len(profile) - 1 and profile[high] < 0.75:
        high += 1
    a = _cross(profile, steps, low, 0.25)
    b = _cross(profile, steps, max(high - 1, 0), 0.75)
    return max(0.0, float((b - a) / (2 * 0.674490)))


def _cross(profile: Array, steps: Array, index: int, level: float) -> float:
    index = min(index, len(profile) - 2)
    rise = profile[index + 1] - profile[index]
    part = (level - profile[index]) / rise if rise > 1e-9 else 0.5
    return float(steps[index] + np.clip(part, 0, 1) * (steps[index + 1] - steps[index]))


def overshoot(profile: Array, steps: Array) -> float:
    """How far the shoulder on the paper stands above the paper a little farther in [-].

    Unsharp masking lifts the paper beside an edge; light, tanning and shadow lower it. The
    dark side is clipped by most scanners and says less, so the paper's side alone is used.
    """
    near = profile[(steps >= _NEAR_PX[0]) & (steps <= _NEAR_PX[1])]
    far = profile[(steps >= _FAR_PX[0]) & (steps <= _FAR_PX[1])]
    if not near.size or not far.size:
        return 0.0
    return float(near.max() - np.median(far))
