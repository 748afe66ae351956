"""Alkali reserve by back-titration (``iso10716``): the formula and its units.

The worked case (1 g, 20.00 mL and 12.00 mL of 0.1 mol/L) is arithmetic computed here from the
stoichiometry; the standard's own text was not at hand.
"""

import pytest

from quirewell.science.bath.reserve import PCT_PER_MOL, BackTitration, back_titration


def test_the_worked_case():
    one = back_titration(BackTitration(20.0, 0.1, 12.0, 0.1, 1.0, water_g_per_g=0.0))
    assert one.mol_per_kg == pytest.approx(0.800, abs=1e-9)
    assert one.pct_caco3 == pytest.approx(4.00, abs=0.005)


def test_permanent_paper_is_two_per_cent():
    permanent = 0.4 * PCT_PER_MOL
    assert permanent == pytest.approx(2.0017, abs=1e-4)


def test_water_in_the_sample_is_not_paper():
    wet, dry = (
        back_titration(BackTitration(20.0, 0.1, 12.0, 0.1, mass, water_g_per_g=water))
        for mass, water in ((1.06, 0.06), (1.0, 0.0))
    )
    assert wet.mol_per_kg == pytest.approx(dry.mol_per_kg)
    assert wet.u > dry.u
