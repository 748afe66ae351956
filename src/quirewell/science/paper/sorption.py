"""Water that paper holds in air of a humidity, and the heat that binds it: two curves, a band.

``tryding2022``: bleached fibre at 25 and 80 C, drying side, the moister of the two (parameters read
in public code). ``heikkila1993``: from memory, the drier one. Old groundwood newsprint lies
between; the two stand for hysteresis as well. Both give the humidity of the air in the paper from
its water content u [kg/kg dry] and temperature; the heat of sorption is that same curve's:

    dH = Rv T^2 d(ln phi)/dT  at constant u        [J/kg of water], on top of vaporisation
"""

from __future__ import annotations

from typing import Literal

from quirewell.science.press.kernel import MOST_WATER, humidity_and_heat

Curve = Literal["tryding", "heikkila"]
CURVES: tuple[Curve, ...] = ("tryding", "heikkila")


def humidity_in(u: float, temperature_c: float, curve: Curve) -> float:
    """Relative humidity [0..1] of the air in paper that holds ``u`` [kg/kg dry].

    Raises
    ------
    ValueError
        Outside 0 to 95 C, 0 to 1.2 kg/kg, or for a curve that is none.

    >>> round(humidity_in(0.1056, 20.0, "tryding"), 3), round(humidity_in(0.149, 20, "heikkila"), 2)
    (0.5, 0.8)
    """
    number = _number(u, temperature_c, curve)
    return humidity_and_heat(number, u, temperature_c)[0]


def sorption_heat(u: float, temperature_c: float, curve: Curve) -> float:
    """Heat that binds the last water, beyond vaporisation [J/kg]; towards 0 as paper grows wet.

    >>> round(sorption_heat(0.05, 20.0, "tryding") / 1000)
    942
    """
    number = _number(u, temperature_c, curve)
    return humidity_and_heat(number, u, temperature_c)[1]


def water_at(rh: float, temperature_c: float, curve: Curve) -> float:
    """Water content [kg/kg dry] in balance with air of ``rh`` [0..1].

    Raises
    ------
    ValueError
        Outside 0 to 0.99 or 0 to 95 C.

    >>> round(water_at(0.8, 20.0, "tryding"), 3), round(water_at(0.5, 20.0, "heikkila"), 3)
    (0.176, 0.091)
    """
    if not 0 <= rh <= 0.99:
        hint = "; was it per cent?" if 1 < rh <= 100 else ""
        raise ValueError(f"humidity is a share from 0 to 0.99 here, got {rh:g}{hint}")
    number = _number(0.1, temperature_c, curve)
    low, high = 0.0, MOST_WATER
    for _ in range(60):
        middle = (low + high) / 2
        if humidity_and_heat(number, middle, temperature_c)[0] < rh:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _number(u: float, temperature_c: float, curve: Curve) -> int:
    if curve not in CURVES:
        raise ValueError(f"the curve is one of {', '.join(CURVES)}, got {curve!r}")
    if not 0 <= u <= MOST_WATER:
        raise ValueError(f"water content lies between 0 and {MOST_WATER:g} kg/kg, got {u:g}")
    if not 0 <= temperature_c <= 95:
        raise ValueError(f"the curve holds from 0 to 95 °C here, got {temperature_c:g} °C")
    return CURVES.index(curve)
