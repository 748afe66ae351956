"""Alkali reserve of permanent paper, ISO 9706 (``iso9706``): 2 % CaCO3 is 0.4 mol acid/kg."""

import pytest

from quirewell.science.bath.constants import CONSTANTS, caco3_pct_to_mol_acid_per_kg
from quirewell.science.bath.lime_water import mix
from quirewell.science.bath.recipe import Recipe
from quirewell.science.paper.standards import tear_limit_mn


def test_twenty_grams_per_kilogram():
    assert caco3_pct_to_mol_acid_per_kg(2.0) == pytest.approx(0.39965, abs=5e-6)


def test_lime_water_cannot_reach_it():
    best = mix(Recipe(1.0, 0.0, leaf="drained")).reserve_pct_caco3
    assert best.high90 < CONSTANTS["permanent_reserve_pct"].value / 3


def test_tearing_resistance_by_grammage():
    assert tear_limit_mn(60) == pytest.approx(290)
    assert tear_limit_mn(70) == tear_limit_mn(90) == 350
    with pytest.raises(ValueError, match="25 g/m²"):
        tear_limit_mn(20)
