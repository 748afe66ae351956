"""How much a sheet moves with the air's humidity, before any treatment is thought of.

strain [%] = beta [% per % moisture] * slope [% moisture per % RH] * change of RH [% RH]

Coefficients, each a range because no sheet's own is known:

======================  ==============  =====================================================
quantity                low .. high     standing
======================  ==============  =====================================================
beta across the grain   0.046 .. 0.15   low: ``printwiki_moisture`` (5 % moisture, 0.23 %);
                                        high: newsprint, from memory
beta along the grain    0.010 .. 0.04   low: ``printwiki_moisture`` (5 % moisture, 0.05 %);
                                        high: newsprint, from memory
slope of the isotherm   0.10 .. 0.20    computed in the press notes (50 to 80 % RH is 5 to
                                        6 % moisture); low end for 35 to 60 % RH from memory
======================  ==============  =====================================================

Valid for slow changes between about 30 and 80 % RH; not for wetting and drying, which is a
treatment. In booklets the grain mostly runs along the spine, so that width is across it
(common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quirewell.science.evidence.uncertainty import rectangular

Grain = Literal["height", "width", "unknown"]

BETA_ACROSS_PCT_PER_PCT = (0.046, 0.15)
BETA_ALONG_PCT_PER_PCT = (0.010, 0.04)
SLOPE_PCT_PER_PCT_RH = (0.10, 0.20)
ROOM_SWING_PCT_RH = 10.0
SAME_DAY_SWING_PCT_RH = 4.0
HYGROMETER_LIMIT_PCT_RH = 5.0


@dataclass(frozen=True, slots=True)
class HumidityTerm:
    """What humidity alone may have done to the change of one dimension.

    ``expected_pct`` is the likeliest movement for the recorded difference (0 when none was
    recorded); ``u_pct`` the standard uncertainty that humidity puts on the change, the
    expected movement included, because its coefficient is too vague to correct by.
    """

    expected_pct: float
    u_pct: float
    basis: str


def expansion_pct_per_rh(across: bool) -> tuple[float, float]:
    """Middle and standard uncertainty of strain per humidity [% per % RH], ranges rectangular.

    >>> middle, u = expansion_pct_per_rh(across=True)
    >>> round(middle, 4), round(u, 4)
    (0.0147, 0.0053)
    """
    low, high = BETA_ACROSS_PCT_PER_PCT if across else BETA_ALONG_PCT_PER_PCT
    beta, u_beta = (low + high) / 2, rectangular((high - low) / 2)
    slope = sum(SLOPE_PCT_PER_PCT_RH) / 2
    u_slope = rectangular((SLOPE_PCT_PER_PCT_RH[1] - SLOPE_PCT_PER_PCT_RH[0]) / 2)
    middle = beta * slope
    return middle, math.hypot(u_beta * slope, u_slope * beta)


def humidity_term(
    across: bool,
    rh_before_pct: float | None = None,
    rh_after_pct: float | None = None,
    same_day: bool = False,
) -> HumidityTerm:
    """Humidity's part in a change of size between two scans.

    With both readings [% RH] their difference counts, each reading good to +-5 % RH
    (rectangular, common practice for a cheap hygrometer); with none, the two moments may
    differ by +-10 % RH, or by +-4 % RH on one day in one room (both rectangular, from memory).

    Raises:
        ValueError: when a reading does not lie between 0 and 100 % RH.
    """
    for name, reading in (("before", rh_before_pct), ("after", rh_after_pct)):
        if reading is not None and not 0 <= reading <= 100:
            raise ValueError(
                f"the humidity {name} must lie between 0 and 100 % RH, got {reading} %"
            )
    middle, u_middle = expansion_pct_per_rh(across)
    if rh_before_pct is not None and rh_after_pct is not None:
        change = rh_after_pct - rh_before_pct
        u_change = math.sqrt(2) * rectangular(HYGROMETER_LIMIT_PCT_RH)
        basis = (
            f"humidity read {rh_before_pct:g} % and {rh_after_pct:g} % RH, each +-"
            f"{HYGROMETER_LIMIT_PCT_RH:g} %"
        )
    elif same_day:
        change, u_change = 0.0, rectangular(SAME_DAY_SWING_PCT_RH)
        basis = f"same day and room, +-{SAME_DAY_SWING_PCT_RH:g} % RH assumed"
    else:
        change, u_change = 0.0, rectangular(ROOM_SWING_PCT_RH)
        basis = f"humidity not recorded, +-{ROOM_SWING_PCT_RH:g} % RH assumed"
    expected = middle * change
    size = math.sqrt(
        expected**2
        + (u_middle * change) ** 2
        + (middle * u_change) ** 2
        + (u_middle * u_change) ** 2
    )
    return HumidityTerm(expected, size, basis)


def across_grain(grain: Grain) -> tuple[bool, bool]:
    """Whether (width, height) lie across the grain; an unknown grain counts as across for both.

    ``grain`` names the dimension the grain runs along: "height" is the usual case.
    """
    return grain != "width", grain != "height"
