"""What a lime bath reads by the lime still free in it: alkali, hydroxide and pH on one curve.

A bath at one temperature, calcite let fall out, is told by one number,

    x = calcium - carbon dioxide - half of the strong acid      [mol/kg water]

the hydroxide not yet used (x > 0) or the carbon dioxide beyond chalk (x < 0). The engine fills 72
places of the curve once for a temperature; thousands of random baths are then read off it. Between
places it misses the engine by at most 0.002 pH and 0.007 mmol/kg of alkali from 0 to 40 C. Strong
acid counts as spent lime: 2 mmol/kg of it shift the pH by up to 0.02 (tests hold both).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from quirewell.science.bath import engine

Array = NDArray[np.float64]
PLACES, LEAST, _WIDTH, _CHALK = 72, -3e-3, 2e-5, 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One temperature's curve: places, and what the engine said there."""

    temperature_c: float
    place: Array
    over: Array
    log_oh: Array
    acidity: Array

    def alkali(self, x: Array) -> Array:
        """Dissolved alkali [mol OH/kg]; hydrogen carbonate counts."""
        return np.asarray(_ramp(x) + np.interp(_at(x), self.place, self.over))

    def hydroxide(self, x: Array) -> Array:
        """Free hydroxide [mol/kg]."""
        return np.asarray(np.exp(np.interp(_at(x), self.place, self.log_oh)))

    def ph(self, x: Array) -> Array:
        """-log10 of the activity of H+."""
        return np.asarray(np.interp(_at(x), self.place, self.acidity))


def _at(x: Array) -> Array:
    return np.asarray(np.arcsinh(x / _WIDTH))


def _ramp(x: Array) -> Array:
    """2 x for x well above nought, nothing below, smooth between."""
    return np.asarray(x + np.sqrt(x * x + _WIDTH**2))


@lru_cache(maxsize=64)
def lime_curve(temperature_c: float) -> Curve:
    """The curve of a temperature [C], 0 to 40.

    Raises
    ------
    ValueError
        Outside the tested range.
    SpeciationError
        When the engine warns or fails.

    >>> curve = lime_curve(20.0)
    >>> round(float(curve.ph(0.0109)), 2), round(float(curve.ph(0.0)), 1)
    (12.39, 10.0)
    """
    top = 1.3 * engine.saturate(temperature_c).ca_mol_per_kg
    place = np.linspace(np.arcsinh(LEAST / _WIDTH), np.arcsinh(top / _WIDTH), PLACES)
    x = _WIDTH * np.sinh(place)
    found = [
        engine.speciate(max(one, 0.0) + _CHALK, temperature_c, max(-one, 0.0) + _CHALK)
        for one in x.tolist()
    ]
    alkali = np.array([2 * one.ca_mol_per_kg for one in found])
    return Curve(
        temperature_c, place, alkali - _ramp(x),
        np.log([one.oh_mol_per_kg for one in found]), np.array([one.ph for one in found]),
    )  # fmt: skip
