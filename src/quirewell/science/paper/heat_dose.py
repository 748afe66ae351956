"""What a warm or damp hour costs, as days at 20 C and 50 % RH: an order of magnitude, no more.

The damage function (``strlic2015``, coefficients from memory) far outside where it was fitted.
The one owner of this arithmetic: outlook, humidity chamber and press all ask here.
"""

from __future__ import annotations

from dataclasses import dataclass

from quirewell.science.paper.decay import damage_rate

# Within so many times, up or down, 90 % (assumed; the function is used outside its range).
FACTOR = 3.0


@dataclass(frozen=True, slots=True)
class HeatDose:
    """Equivalent days at 20 C and 50 % RH, with a band of a factor of three each way."""

    days: float
    low90_days: float
    high90_days: float


def heat_dose(hours: float, temperature_c: float, rh: float, ph: float = 5.0) -> HeatDose:
    """Days at 20 C and 50 % RH that age paper as much as so many hours do.

    ``rh`` is that of the air *in* the paper (0..0.95).

    Raises
    ------
    ValueError
        For negative hours or a state outside -20 to 80 C and 0 to 95 %.

    >>> round(heat_dose(4.0, 22.0, 0.95).days, 1), round(heat_dose(1.0, 80.0, 0.5).days)
    (2.5, 34)
    """
    if not 0 <= hours <= 24 * 365:
        raise ValueError(f"a dose is for 0 to 8760 hours, got {hours:g}")
    if not 0 <= rh <= 0.95:
        raise ValueError(f"humidity in the paper is 0 to 0.95 here, got {rh:g}")
    ratio = float(damage_rate(temperature_c, rh, ph) / damage_rate(20.0, 0.5, ph))
    days = hours / 24 * ratio
    return HeatDose(days, days / FACTOR, days * FACTOR)
