"""A length or an angle with its standard uncertainty, as put into the geometry of a booklet."""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.science.evidence.normal import Z90


@dataclass(frozen=True, slots=True)
class Reading:
    """A value and its standard uncertainty, both in one unit.

    >>> one = Reading(2.0, 0.1)
    >>> round(one.low90, 4), round(one.high90, 4)
    (1.8355, 2.1645)
    """

    value: float
    u: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise ValueError(
                f"a reading is a finite number, its uncertainty 0 or more; got {self.value} and "
                f"{self.u}"
            )

    @property
    def low90(self) -> float:
        """Lower end of the 90 % band, normal."""
        return self.value - Z90 * self.u

    @property
    def high90(self) -> float:
        """Upper end of the 90 % band, normal."""
        return self.value + Z90 * self.u
