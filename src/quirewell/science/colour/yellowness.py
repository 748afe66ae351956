"""Yellowness index of paper."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import SRGB_TO_XYZ_D65

# Coefficients (Cx, Cz) of ASTM E313-15 by illuminant and observer (``astme313``).
E313 = {
    "C/2": (1.2769, 1.0592),
    "D65/2": (1.2985, 1.1335),
    "C/10": (1.2871, 1.0781),
    "D65/10": (1.3013, 1.1498),
}


def yellowness(xyz: NDArray[np.floating], seen_by: str = "D65/2") -> NDArray[np.float64]:
    """Yellowness index YI = 100 (Cx X - Cz Z) / Y [-] after ``astme313``.

    Parameters
    ----------
    xyz
        tristimulus values (..., 3) under the illuminant and for the observer named
    seen_by
        "C/2", "D65/2", "C/10" or "D65/10"

    Raises
    ------
    ValueError
        for any other illuminant and observer

    A cream paper of CIELAB 84, 1, 9 under D65/10:

    >>> import numpy as np
    >>> round(float(yellowness(np.array([61.164, 64.066, 58.532]), "D65/10")), 2)
    19.19
    """
    if seen_by not in E313:
        raise ValueError(f"yellowness is defined for {', '.join(E313)}, got {seen_by!r}")
    cx, cz = E313[seen_by]
    values = np.asarray(xyz, dtype=np.float64)
    return np.asarray(100.0 * (cx * values[..., 0] - cz * values[..., 2]) / values[..., 1])


def yellowness_of_light(light: NDArray[np.floating]) -> NDArray[np.float64]:
    """Yellowness index (D65, 2 degrees) of linear sRGB light (..., 3)."""
    return yellowness(np.asarray(light, dtype=np.float64) @ SRGB_TO_XYZ_D65.T)
