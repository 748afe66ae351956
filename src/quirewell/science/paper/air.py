"""Moist air at one atmosphere: dew point, wet bulb, mixing ratio, vapour through a film of air.

Saturation after Hyland and Wexler as ``ashrae2017`` carries it (0 to 200 C over water): the usual
Magnus form is 0.7 % high at 68 C and 2.6 % at 100 C.
"""

from __future__ import annotations

import scipy

from quirewell.science.press.kernel import ATMOSPHERE, RV, p_sat

KELVIN = 273.15
CP_AIR = 1006.0


def dew_point(temperature_c: float, rh: float) -> float:
    """Temperature [C] at which air of ``rh`` [0..1] is saturated.

    >>> round(dew_point(20.0, 0.5), 2)
    9.27
    """
    _check(temperature_c, rh)
    wanted = rh * p_sat(temperature_c)
    return float(scipy.optimize.brentq(lambda t: p_sat(t) - wanted, -40.0, temperature_c + 1e-6))


def mixing_ratio(temperature_c: float, rh: float) -> float:
    """Vapour in air [kg per kg of dry air].

    >>> round(mixing_ratio(20.0, 0.5), 5)
    0.00726
    """
    _check(temperature_c, rh)
    vapour = rh * p_sat(temperature_c)
    return 0.621945 * vapour / (ATMOSPHERE - vapour)


def wet_bulb(temperature_c: float, rh: float) -> float:
    """Temperature [C] of a wet surface that only a strong wind cools (adiabatic saturation).

    >>> round(wet_bulb(20.0, 0.5), 2)
    13.78
    """
    _check(temperature_c, rh)
    ratio = mixing_ratio(temperature_c, rh)

    def off(bulb: float) -> float:
        full = 0.621945 * p_sat(bulb) / (ATMOSPHERE - p_sat(bulb))
        above = (2501 - 2.326 * bulb) * full - 1.006 * (temperature_c - bulb)
        return above / (2501 + 1.86 * temperature_c - 4.186 * bulb) - ratio

    return float(
        scipy.optimize.brentq(off, dew_point(temperature_c, rh) - 1.0, temperature_c + 1e-6)
    )


def film_beta(h_convective: float, celsius: float = 20.0) -> float:
    """Vapour transfer of a film of air [kg/(m2 s Pa)] that carries ``h`` [W/m2K] by convection
    (Lewis: the same film for both).

    >>> round(film_beta(4.0) * 1e8, 1)
    2.4
    """
    density = 353.1 / (celsius + KELVIN)
    return h_convective / (density * CP_AIR * RV * (celsius + KELVIN))


def _check(temperature_c: float, rh: float) -> None:
    if not 0 <= temperature_c <= 95:
        raise ValueError(f"air is between 0 and 95 °C here, got {temperature_c:g} °C")
    if not 0 < rh <= 1:
        hint = "; was it per cent?" if 1 < rh <= 100 else ""
        raise ValueError(f"humidity is a share above 0 and up to 1 here, got {rh:g}{hint}")
