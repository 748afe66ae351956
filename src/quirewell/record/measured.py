"""A value with its standard uncertainty and unit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

Z90 = 1.645
_AREAS = ("mm2", "cm2", "m2")


@dataclass(frozen=True, slots=True)
class Term:
    """One line of an uncertainty budget.

    ``u`` is the standard uncertainty in the unit of the value it belongs to; ``basis`` says
    where it comes from ("two readings of the steel rule", "assumed, no hygrometer").
    """

    name: str
    u: float
    basis: str = ""


@dataclass(frozen=True, slots=True)
class Measured:
    """A value, its standard uncertainty ``u`` (same unit), and an optional 90 % band.

    ``u`` is 0 for what is exact (a count) and None where no uncertainty is known.
    """

    value: float
    u: float | None
    unit: str
    low90: float | None = None
    high90: float | None = None
    terms: tuple[Term, ...] = ()
    smallest_seen: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u or 0.0)):
            raise ValueError(f"a measured value must be finite, got {self.value} +- {self.u}")
        if self.u is not None and self.u < 0:
            raise ValueError(f"an uncertainty cannot be negative, got {self.u} {self.unit}")

    def as_json(self) -> dict[str, Any]:
        """The JSON form shown by every command: ``value``, ``u``, ``low90``, ``high90``, ``unit``
        ("1" where it has none) and, when known, ``terms`` and ``smallest_seen``.

        Where the 90 % band was not worked out by itself it is value +- 1.645 u, of an area not
        below 0. Where no uncertainty is known ``u`` is null, and so is a band not worked out.
        """
        low, high = self.low90, self.high90
        if self.u is not None and (low is None or high is None):
            low, high = self.value - Z90 * self.u, self.value + Z90 * self.u
            if self.unit in _AREAS:
                low = max(0.0, low)
        out: dict[str, Any] = {
            "value": self.value, "u": self.u, "low90": low, "high90": high,
            "unit": self.unit or "1",
        }  # fmt: skip
        if self.terms:
            out["terms"] = {term.name: {"u": term.u, "basis": term.basis} for term in self.terms}
        if self.smallest_seen is not None:
            out["smallest_seen"] = self.smallest_seen
        return out
