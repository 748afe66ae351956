"""What warm and damp hours cost, as days at 20 C and 50 % RH, with a band: an order of magnitude.

    days = integral of exp[Ea/R (1/293.15 - 1/T)] f(RH) dt

f is midway between (RH/0.5)^m (``michalski2002``) and the damage function's exponential in water
content (``strlic2015``); half of what parts them counts as uncertainty. Ea 105 +/- 10 kJ/mol, m 1.3
+/- 0.3 (from memory: hydrolysis and oxidation differ so), temperature within 2 K. Above 100 C
nothing was ever measured that this could lean on: the band is all there is. The one owner of this
arithmetic: outlook, humidity chamber, press and iron all ask here. Acid paper ages faster at both
temperatures, so its days are the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.evidence.normal import Z90
from quirewell.science.paper.decay import A_WATER, GAS, KELVIN
from quirewell.science.paper.isotherm import water_content

Array = NDArray[np.float64]
EA_J_PER_MOL, U_EA = 105e3, 10e3
POWER, U_POWER = 1.3, 0.3
U_KELVIN = 2.0
# Paper whose own humidity nobody knows: 40 to 90 %, evenly.
UNKNOWN_RH, U_LOG_UNKNOWN = 0.62, 0.235


@dataclass(frozen=True, slots=True)
class HeatDose:
    """Equivalent days at 20 C and 50 % RH and their 90 % band; ``log_u`` is u of the logarithm,
    ``parts`` what it is made of."""

    days: float
    low90_days: float
    high90_days: float
    log_u: float
    parts: dict[str, float]


def heat_dose(hours: float, temperature_c: float, rh: float | None = None) -> HeatDose:
    """Days at 20 C and 50 % RH that age paper as much as so many hours do.

    ``rh`` is that of the air *in* the paper (0..1); None where it is not known (40 to 90 %).

    Raises
    ------
    ValueError
        For hours outside a year, a paper outside -20 to 125 C, or a humidity outside 0 to 1.

    >>> round(heat_dose(0.25, 68.0).days, 1), round(heat_dose(4.0, 22.0, 0.95).days, 2)
    (6.4, 1.15)
    """
    return dose_over([hours], [temperature_c], [UNKNOWN_RH if rh is None else rh], rh is None)


def dose_over(
    hours: Sequence[float] | Array, temperature_c: Sequence[float] | Array,
    rh: Sequence[float] | Array, rh_unknown: bool = False,
) -> HeatDose:  # fmt: skip
    """The same over a history: ``hours`` [h] spent at each temperature [C] and humidity [0..1].

    Raises
    ------
    ValueError
        As :func:`heat_dose`, or for arrays of unlike lengths.
    """
    w, t, h = (np.asarray(part, dtype=np.float64) for part in (hours, temperature_c, rh))
    if not (w.shape == t.shape == h.shape and w.ndim == 1 and len(w)):
        raise ValueError("hours, temperatures and humidities must be of one length, one or more")
    if not (np.isfinite(w).all() and w.min() >= 0 and w.sum() <= 24 * 366):
        raise ValueError(f"a dose is for 0 to 8784 hours, got {w.sum():g}")
    if not (np.isfinite(t).all() and t.min() >= -20 and t.max() <= 125):
        raise ValueError(
            f"paper is held to be at -20 to 125 °C here, got {t.min():g} to {t.max():g}"
        )
    if not (np.isfinite(h).all() and h.min() >= 0 and h.max() <= 1):
        raise ValueError(f"humidity in the paper is a share of 0 to 1, got {h.min():g}")
    power = _days(w, t, _power(h), EA_J_PER_MOL)
    middle = _days(w, t, np.sqrt(_power(h) * _exponential(h)), EA_J_PER_MOL)
    if middle == 0:
        return HeatDose(0.0, 0.0, 0.0, 0.0, {})

    def moved(more: float, base: float = power) -> float:
        return abs(math.log(more / base))

    laws = moved(_days(w, t, _exponential(h), EA_J_PER_MOL)) / 2
    parts = {
        "activation energy": moved(_days(w, t, _power(h), EA_J_PER_MOL + U_EA)),
        "law of humidity": math.hypot(
            laws, moved(_days(w, t, _power(h, POWER + U_POWER), EA_J_PER_MOL))
        ),
        "temperature of the paper": moved(_days(w, t + U_KELVIN, _power(h), EA_J_PER_MOL)),
        "humidity of the paper": POWER * U_LOG_UNKNOWN if rh_unknown else 0.0,
    }
    log_u = math.hypot(*parts.values())
    spread = math.exp(Z90 * log_u)
    return HeatDose(middle, middle / spread, middle * spread, log_u, parts)


def _power(rh: Array, power: float = POWER) -> Array:
    # Bone-dry paper still ages by oxidation: 2 % stands for less.
    return np.asarray((np.maximum(rh, 0.02) / 0.5) ** power)


def _exponential(rh: Array) -> Array:
    held = water_content(20.0, np.clip(rh, 0, 0.95)) - water_content(20.0, 0.5)
    return np.asarray(np.exp(A_WATER * held))


def _days(hours: Array, t: Array, damp: Array, ea: float) -> float:
    heat = np.exp(ea / GAS * (1 / 293.15 - 1 / (t + KELVIN)))
    return float((hours * heat * damp).sum() / 24)
