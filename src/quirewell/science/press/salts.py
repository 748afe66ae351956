"""Humidity over saturated salts: fixed points for a chamber and for checking a hygrometer.

Exponential fits of the handbook (``wexler_crc``), within 2 %; tests hold them against the
polynomials of ``greenspan1977``, of which two unrelated public sources carry sign errors.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Salt:
    """A salt: name, handbook fit RH = a exp(b / T) [%; K] within 2 % RH, what to mind."""

    name: str
    a: float
    b: float
    mind: str = ""


SALTS: Mapping[str, Salt] = {
    "MgCl2": Salt("magnesium chloride", 29.26, 34),
    "Mg(NO3)2": Salt("magnesium nitrate", 25.28, 220, "oxidiser: away from paper and flame"),
    "NaBr": Salt("sodium bromide", 20.49, 308),
    "NaCl": Salt("table salt", 69.20, 25),
    "KCl": Salt("potassium chloride", 49.38, 159),
    "KNO3": Salt("potassium nitrate", 43.22, 225, "oxidiser: away from paper and flame"),
    "K2SO4": Salt("potassium sulphate", 86.75, 34),
}


def salt_rh(salt: str, temperature_c: float = 20.0) -> float:
    """Humidity [%] over a saturated salt, within 2 % (``wexler_crc``).

    Raises
    ------
    ValueError
        For no known salt, or outside 10 to 40 C.

    >>> round(salt_rh("NaCl", 25.0), 2), round(salt_rh("K2SO4", 25.0), 2)
    (75.25, 97.23)
    """
    if salt not in SALTS:
        raise ValueError(f"the salt is one of {', '.join(SALTS)}, got {salt!r}")
    if not 10 <= temperature_c <= 40:
        raise ValueError(f"salts are tabled from 10 to 40 °C, got {temperature_c:g} °C")
    row = SALTS[salt]
    return row.a * math.exp(row.b / (temperature_c + 273.15))
