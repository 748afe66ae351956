"""Solubility of calcium hydroxide against Seidell and Linke (``seidell1958``): 1.5 g/L at 25 C.

Published solubilities differ by about 6 %, which is the tolerance.
"""

from itertools import pairwise

import pytest

from quirewell.science.bath import engine
from quirewell.science.bath.constants import MOLAR_MASS_CAOH2, water_density_kg_per_l


def test_solubility_at_25_c():
    grams = engine.saturate(25.0).ca_mol_per_kg * MOLAR_MASS_CAOH2 * water_density_kg_per_l(25.0)
    assert grams == pytest.approx(1.5, rel=0.06)


def test_solubility_falls_strictly_as_water_warms():
    """Known since the NBS work: lime is less soluble in warm water (stock databases fail here)."""
    amounts = [engine.saturate(float(t)).ca_mol_per_kg for t in range(0, 41, 5)]
    assert all(colder > warmer for colder, warmer in pairwise(amounts))
