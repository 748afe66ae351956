"""Water leaving a wet surface into air: rate and temperature by the balance of heat.

beta (p_sat(Ts) - phi p_sat(T)) L = (h_c + h_r)(T - Ts)      beta by Lewis from h_c
"""

from __future__ import annotations

from dataclasses import dataclass

import scipy

from quirewell.science.paper.air import film_beta
from quirewell.science.press.kernel import p_sat, vaporisation

# Convection [W/(m2 K)] of still room air and under a fan, and radiation (from memory).
STILL, FAN, RADIATION = 4.0, 15.0, 5.2


def convection_at(air_m_s: float) -> float:
    """Convection [W/(m2 K)] over a sheet in air moving at 0 to 5 m/s: 5.6 + 4 v, still air's
    own at least (from memory, as for building walls).

    Raises
    ------
    ValueError
        For another speed.

    >>> convection_at(0.0), convection_at(2.0)
    (4.0, 13.6)
    """
    if not 0 <= air_m_s <= 5:
        raise ValueError(f"air moves at 0 to 5 m/s over a sheet here, got {air_m_s:g} m/s")
    return STILL if air_m_s < 0.1 else 5.6 + 4.0 * air_m_s


@dataclass(frozen=True, slots=True)
class Evaporation:
    """Rate [g/(m2 h)] from one face, and the surface's temperature [C]."""

    g_m2_h: float
    surface_c: float


def evaporation(temperature_c: float, rh: float, convection: float = STILL) -> Evaporation:
    """Evaporation from a wet face.

    Raises
    ------
    ValueError
        Outside 5 to 60 C, 0 to 1, or 1 to 60 W/(m2 K).

    >>> one = evaporation(20.0, 0.5)
    >>> round(one.g_m2_h), round(one.surface_c, 1)
    (56, 15.9)
    """
    if not (5 <= temperature_c <= 60 and 0 <= rh <= 1 and 1 <= convection <= 60):
        hint = "; was it per cent?" if 1 < rh <= 100 else ""
        raise ValueError(
            f"air of 5 to 60 °C, a share of 0 to 1 and a film of 1 to 60 W/m²K are needed{hint}"
        )
    if rh >= 0.9999:
        return Evaporation(0.0, temperature_c)
    beta = film_beta(convection, temperature_c)
    outside = rh * p_sat(temperature_c)

    def off(surface: float) -> float:
        water = beta * (p_sat(surface) - outside)
        return water * vaporisation(surface) - (convection + RADIATION) * (temperature_c - surface)

    surface = float(scipy.optimize.brentq(off, temperature_c - 40.0, temperature_c))
    return Evaporation(3.6e6 * beta * (p_sat(surface) - outside), surface)
