"""Wheat starch paste as a library cooks it (``locpaste2015``, read): 57 g in 400 mL of water."""

import pytest

from quirewell.science.paper.adhesive import STARCH_G, STARCH_WATER_ML


def test_the_librarys_paste_is_an_eighth_by_mass():
    strength_pct = 100 * STARCH_G / (STARCH_G + STARCH_WATER_ML)
    assert strength_pct == pytest.approx(12.5, abs=0.05)
