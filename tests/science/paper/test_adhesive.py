"""Adhesive arithmetic: two meanings of per cent, dilution, films, and what a mend adds."""

from __future__ import annotations

import pytest

from quirewell.science.paper.adhesive import (
    batch,
    coated_solids_g_m2,
    diluted,
    mend_load,
    other_way,
    viscosity_mpas,
)


def test_by_mass_and_by_volume_need_different_water() -> None:
    mass, volume = (batch("methyl cellulose", 10, by, 20, 1.0, 0.0) for by in ("w/w", "w/v"))
    assert mass.dry_g == volume.dry_g == pytest.approx(2.0)
    assert mass.water_g == pytest.approx(18.0) and volume.water_g == pytest.approx(20.0)


def test_the_other_way_is_undone_by_the_other_way() -> None:
    assert other_way(other_way(8.0, "w/w"), "w/v") == pytest.approx(8.0)


def test_thinning_keeps_the_dry_mass() -> None:
    stock, water = diluted(5.0, 1.5, 40.0)
    assert stock * 5.0 == pytest.approx(40.0 * 1.5) and stock + water == pytest.approx(40)
    with pytest.raises(ValueError, match="stronger"):
        diluted(2.0, 5.0, 10.0)


# Computed before by the same rule from memory: a regression, an order of magnitude.
@pytest.mark.parametrize(
    ("strength", "mpas"), [(0.5, 20), (1.0, 177), (1.5, 979), (2.0, 4000), (2.5, 13200)]
)
def test_viscosity_by_the_suppliers_rule(strength: float, mpas: float) -> None:
    assert viscosity_mpas(4000, strength) == pytest.approx(mpas, rel=0.02)


def test_a_film_of_a_tenth_of_a_millimetre_outweighs_the_thinnest_tissue() -> None:
    assert coated_solids_g_m2(100, 2.5) == pytest.approx(2.5)


def test_what_a_mend_adds_to_a_leaf() -> None:
    load = mend_load(10, 5.0, 8.0, 3.5, 2.5, 4.7)
    assert load.tissue_g == pytest.approx(0.014) and load.adhesive_g == pytest.approx(0.010)
    assert load.share_pct == pytest.approx(100 * 0.024 / 4.7)
    assert load.water_mg_per_cm == pytest.approx(7.8)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: batch("methyl cellulose", -2, "w/w", 10), "strength"),
        (lambda: batch("methyl cellulose", 2, "%", 0), "w/w or w/v"),
        (lambda: mend_load(0, 5, 8, 3.5, 2.5, 4.7), "mends"),
        (lambda: viscosity_mpas(-4, 2), "grade"),
        (lambda: coated_solids_g_m2(0, 2), "wet film"),
    ],
)
def test_what_cannot_be_is_refused(call, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=says):
        call()
