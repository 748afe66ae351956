"""How fast paper ages: published rate expressions, for ratios between cases and never for years.

All rates are relative or per year as stated; the temperature is in C, humidity a share 0..1. For
groundwood no degree of polymerisation means what these expressions take it to mean: ratios only.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.paper.isotherm import water_content

Array = NDArray[np.float64]
Law = Literal["linear", "power", "exponential"]
LAWS: tuple[Law, ...] = ("linear", "power", "exponential")

GAS = 8.31446261815324
KELVIN = 273.15
# The damage function's coefficients (``strlic2015``): from memory, not yet read in the paper.
A0, A_WATER, A_ACID, A_KELVIN = 36.981, 36.72, 0.244, 14300.0
# A rise of pH is not taken to help beyond this (cold extract).
CAP_PH = 8.5


def damage_rate(temperature_c: float | Array, rh: float | Array, ph: float | Array) -> Array:
    """Rate of chain scission [1/year] of average historic paper in the dark (``strlic2015``).

    ln k = 36.981 + 36.72 c + 0.244 ln[H+] - 14300 / T, c the water content. **Coefficients from
    memory.** ``ph`` is that of a cold extract, up to 8.5.

    >>> f"{float(damage_rate(20.0, 0.5, 5.0)):.3e}"
    '6.560e-06'
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + KELVIN
    acid = -np.minimum(np.asarray(ph, dtype=np.float64), CAP_PH) * math.log(10)
    water = water_content(temperature_c, rh)
    return np.asarray(np.exp(A0 + A_WATER * water + A_ACID * acid - A_KELVIN / kelvin))


def years_to(dp_start: float, dp_end: float, rate_per_year: float) -> float:
    """Years in which a degree of polymerisation falls (Ekenstam, 1/DP - 1/DP0 = k t); ``k`` > 0.

    >>> round(years_to(700, 300, 6.5599e-6))
    290
    """
    return (1 / dp_end - 1 / dp_start) / rate_per_year


def dp_after(dp_start: float, rate_per_year: float, years: float, exact: bool = False) -> float:
    """Degree of polymerisation after some years, by 1/DP or by the exact first-order form.

    >>> round(dp_after(700, 6.56e-6, 100), 1), round(dp_after(700, 6.56e-6, 100, exact=True), 1)
    (479.7, 480.0)
    """
    if not exact:
        return 1 / (1 / dp_start + rate_per_year * years)
    bonds = math.log1p(-1 / dp_start) - rate_per_year * years
    return 1 / -math.expm1(bonds)


def relative_life(
    temperature_c: float, rh: float, ea_j_per_mol: float = 100e3, power: float = 1.3
) -> float:
    """Life relative to 20 C and 50 % RH (``michalski2002``): (0.5/RH)^1.3 exp[Ea/R (1/T - 1/T0)].

    >>> round(relative_life(15, 0.5), 3), round(relative_life(20, 0.25), 3)
    (2.038, 2.462)
    """
    kelvin = temperature_c + KELVIN
    return float((0.5 / rh) ** power) * math.exp(ea_j_per_mol / GAS * (1 / kelvin - 1 / 293.15))


def relative_rate(
    temperature_c: float | Array, rh: float | Array, ea_j_per_mol: float | Array, law: Law
) -> Array:
    """Rate relative to 20 C and 50 % RH at one activation energy, by one law of humidity.

    Linear in RH, RH^1.3 (``michalski2002``), or exponential in the water content with the damage
    function's coefficient: data cannot choose between them (``knight2014``).
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + KELVIN
    h = np.asarray(rh, dtype=np.float64)
    heat = np.exp(np.asarray(ea_j_per_mol) / GAS * (1 / 293.15 - 1 / kelvin))
    if law == "linear":
        damp = h / 0.5
    elif law == "power":
        damp = (h / 0.5) ** 1.3
    else:
        damp = np.exp(
            A_WATER * (water_content(20.0, np.clip(h, 0, 0.99)) - water_content(20.0, 0.5))
        )
    return np.asarray(heat * damp)


def years_to_unfit(dp: float) -> float:
    """Years of use until a sheet in a hundred is unfit, by its present DP (``strlic2015b``).

    A table of that paper, between its rows by logarithm; 300 to 800 only.

    >>> round(years_to_unfit(500)), round(years_to_unfit(800))
    (450, 10000)
    """
    rows = {300: 55.0, 400: 160.0, 500: 450.0, 600: 1300.0, 700: 3700.0, 800: 10000.0}
    if not 300 <= dp <= 800:
        raise ValueError(f"the table goes from DP 300 to 800, got {dp:g}")
    return float(math.exp(np.interp(dp, list(rows), np.log(list(rows.values())))))
