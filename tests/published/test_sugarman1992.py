"""Water held by wet paper, from the per cent of solids of Sugarman and Vitale, JAIC 31 (1992) 175
(``sugarman1992``): wet and blotted 43 +- 9 %, onset of distortion 63 +- 3 %, vapour-humidified
81 +- 5 %."""

import pytest

from quirewell.science.bath.constants import CONSTANTS, pickup_from_solids
from quirewell.science.bath.lime_water import mix
from quirewell.science.bath.recipe import Recipe


@pytest.mark.parametrize(
    ("solids_pct", "g_per_g"), [(43, 1.326), (63, 0.587), (81, 0.235), (52, 0.923), (34, 1.941)]
)
def test_grams_of_water_per_gram_of_paper(solids_pct, g_per_g):
    assert pickup_from_solids(solids_pct) == pytest.approx(g_per_g, abs=0.001)


def test_table_row_is_what_the_paper_says():
    row = CONSTANTS["pickup_blotted"]
    assert row.value == pytest.approx(pickup_from_solids(43), abs=0.005)
    assert row.low == pytest.approx(pickup_from_solids(52), abs=0.005)
    assert row.high == pytest.approx(pickup_from_solids(34), abs=0.005)


def test_drag_out_reserve_of_saturated_lime_water_at_20_c():
    """1.33 g/g x 0.02175 mol/kg x 10.009 = 0.29 % CaCO3, 0.058 mol acid/kg (computed by hand)."""
    bath = mix(Recipe(1.0, 20.0))
    assert bath.reserve_pct_caco3.value == pytest.approx(0.29, abs=0.01)
    assert bath.reserve_mol_acid_per_kg.value == pytest.approx(0.058, abs=0.001)
    assert bath.reserve_pct_caco3.low90 == pytest.approx(0.20, abs=0.01)
    assert bath.reserve_pct_caco3.high90 == pytest.approx(0.42, abs=0.01)
