"""Low, likely and high as typed by hand: a distribution of the price before any sale is known.

A PERT distribution (a beta between the ends with its peak at the likely value, mean
(low + 4 likely + high) / 6, ``malcolm1959``), not a triangle: ends typed by hand are meant as
hardly ever passed, and a triangle puts more than twice as much weight into the outermost tenth at
each end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

PEAK = 4.0  # weight of the likely value against one of each end
_DRAWN = (np.arange(400) + 0.5) / 400


@dataclass(frozen=True, slots=True)
class Range:
    """Money typed by hand, lowest, most likely, highest.

    Raises:
        ValueError: for what is not above 0 or not in order.
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        ends = (self.low, self.likely, self.high)
        if not all(math.isfinite(one) and one > 0 for one in ends):
            raise ValueError("low, likely and high are money above 0; put what it would fetch")
        if not (self.low <= self.likely <= self.high and self.low < self.high):
            raise ValueError(
                f"low, likely and high go up, got {self.low:g}, {self.likely:g} and "
                f"{self.high:g}; put the least, the likeliest and the most it would fetch"
            )

    @property
    def shape(self) -> tuple[float, float]:
        """The two exponents of the beta distribution."""
        place = (self.likely - self.low) / (self.high - self.low)
        return 1 + PEAK * place, 1 + PEAK * (1 - place)

    @property
    def mean(self) -> float:
        """Mean price.

        >>> Range(60, 100, 200).mean
        110.0
        """
        return (self.low + PEAK * self.likely + self.high) / (PEAK + 2)

    def quantile(self, share: float) -> float:
        """Price that is not passed in a ``share`` of cases (0 to 1)."""
        return self.low + (self.high - self.low) * float(
            scipy.special.betaincinv(*self.shape, share)
        )

    @property
    def logs(self) -> tuple[float, float]:
        """Mean and standard deviation of the natural logarithm of the price."""
        return _logs(self)


@lru_cache(maxsize=64)
def _logs(typed: Range) -> tuple[float, float]:
    logs = np.log(
        typed.low + (typed.high - typed.low) * scipy.special.betaincinv(*typed.shape, _DRAWN)
    )
    return float(logs.mean()), float(logs.std())
