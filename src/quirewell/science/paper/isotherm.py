"""Water that paper holds at a temperature and humidity: the curve that permanence goes by.

    c = [ln(1 - RH) / (1.67 T - 285.655)]^(1 / (2.491 - 0.012 T))       T in C, RH 0..1, c kg/kg

after ``paltakari1997``, constants as public code that cites it carries them (two files, both with
T in kelvin, which is wrong). Holds between 10 and 90 % RH; far too dry above 95 %. Newsprint is
moister by a point or two, more where it is drying (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LOW_C, HIGH_C = -20.0, 80.0


def water_content(
    temperature_c: float | NDArray[np.floating], rh: float | NDArray[np.floating]
) -> Array:
    """Water [kg per kg of dry paper] at a temperature [C] and relative humidity [0..1].

    Raises
    ------
    ValueError
        Outside -20 to 80 C or 0 to 0.99, saying whether per cent was meant.

    >>> round(float(water_content(20.0, 0.5)), 4)
    0.0728
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    h = np.asarray(rh, dtype=np.float64)
    if t.size and not (np.all(t >= LOW_C) and np.all(t <= HIGH_C)):
        raise ValueError(f"the isotherm holds from {LOW_C:g} to {HIGH_C:g} °C")
    if h.size and not (np.all(h >= 0) and np.all(h <= 0.99)):
        hint = "; was it per cent?" if np.any(h > 1) else ""
        raise ValueError(f"relative humidity is a share from 0 to 0.99 here{hint}")
    base = np.log1p(-h) / (1.67 * t - 285.655)
    return np.asarray(base ** (1.0 / (2.491 - 0.012 * t)))
