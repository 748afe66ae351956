"""Reserve and pH of paper: planted truths, contradictions, and readings that say too little."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.bath.paper_ph import PhReading, paper_ph
from quirewell.science.bath.reserve import (
    BackTitration,
    ReserveEstimate,
    as_one,
    back_titration,
    from_bath_titres,
)


def test_the_stated_uncertainty_is_the_scatter_of_planted_titrations() -> None:
    rng = np.random.default_rng(1)
    true, dry, found, stated = 0.3, 0.95, [], []
    for _ in range(3000):
        acid, alkali = (0.1 * (1 + rng.normal(0, 0.005)) for _ in range(2))
        naoh = (20.0 * acid - true * dry) / alkali
        titre = BackTitration(
            20.0 + rng.normal(0, 0.05), 0.1, naoh + rng.normal(0, 0.05), 0.1,
            dry + rng.normal(0, 0.005), water_g_per_g=0.0,
        )  # fmt: skip
        one = back_titration(titre)
        found.append(one.mol_per_kg)
        stated.append(one.u)
    assert np.mean(found) == pytest.approx(true, abs=0.001)
    assert np.std(found) == pytest.approx(np.mean(stated), rel=0.05)


def test_acid_paper_has_a_negative_reserve() -> None:
    assert back_titration(BackTitration(10, 0.1, 10.8, 0.1, 1.0)).mol_per_kg < 0


def test_every_wrong_field_is_told_at_once() -> None:
    with pytest.raises(ValueError, match=r"volume of acid .* mass of the sample"):
        BackTitration(-1, 0.1, 10, 0.1, 0)
    with pytest.raises(ValueError, match="strength of the alkali"):
        BackTitration(10, 0.1, 10, math.nan, 1)


def test_estimates_that_scatter_more_than_they_say_are_widened_and_named() -> None:
    agree = as_one([ReserveEstimate("a", 0.20, 0.01), ReserveEstimate("b", 0.21, 0.01)])
    assert agree.widened == 1 and agree.apart == ()
    assert agree.u == pytest.approx(0.01 / math.sqrt(2))
    fight = as_one([ReserveEstimate("a", 0.20, 0.01), ReserveEstimate("b", 0.30, 0.01)])
    assert [row[:2] for row in fight.apart] == [("a", "b")]
    assert fight.u == pytest.approx(0.05, rel=0.01)


def test_the_bath_loses_what_the_paper_took() -> None:
    one = from_bath_titres(0.02, 0.015, 2e-4, 4.0, 0.05)
    assert one.mol_per_kg == pytest.approx(0.4)
    with pytest.raises(ValueError, match="swapped"):
        from_bath_titres(0.015, 0.02, 2e-4, 4.0, 0.05)


def test_ph_readings_come_together_in_proportion_to_what_they_can_tell() -> None:
    both = paper_ph([PhReading("cold extract", 6.0), PhReading("surface strip", 6.4)])
    assert both is not None
    assert both.median == pytest.approx(6.015, abs=0.01)
    assert both.u == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize("many", [1, 2, 6])
def test_planted_ph_lies_in_the_band_nine_times_in_ten(many: int) -> None:
    """Strips of one page share what sets a surface apart from a cold extract (0.3 pH)."""
    rng = np.random.default_rng(2)
    inside = 0
    for _ in range(400):
        true = rng.uniform(4.5, 9.0)
        shared = true + rng.normal(0, 0.3)
        readings = [
            PhReading("surface strip", float(shared + rng.normal(0, 0.4))) for _ in range(many)
        ]
        found = paper_ph(readings)
        assert found is not None
        inside += found.low90 <= true <= found.high90
    assert 0.86 <= inside / 400 <= 0.97


def test_no_number_of_strips_makes_a_cold_extract() -> None:
    many = paper_ph([PhReading("surface strip", 7.0)] * 40)
    assert many is not None and many.median == pytest.approx(7.0, abs=0.01)
    assert many.u == pytest.approx(math.hypot(0.3, 0.4 / math.sqrt(40)), rel=0.02)


def test_a_strip_off_its_scale_is_a_reading() -> None:
    alone = paper_ph([PhReading("surface strip", 7.0, off_scale="above")])
    assert alone is not None and alone.bounded == "above"
    assert alone.low90 > 6.5 and alone.high90 > 10
    between = paper_ph(
        [
            PhReading("surface strip", 6.0, off_scale="above"),
            PhReading("surface strip", 8.0, off_scale="below"),
        ]
    )
    assert between is not None and between.bounded is None
    assert between.median == pytest.approx(7.0, abs=0.05)
    assert between.apart == ()


def test_readings_that_fight_are_named_and_widen_the_band() -> None:
    calm = paper_ph([PhReading("surface strip", 6.5), PhReading("surface strip", 6.5)])
    fight = paper_ph(
        [PhReading("surface strip", 6.5), PhReading("surface strip", 9.0, None, "above")]
    )
    assert calm is not None and fight is not None
    assert [row[:2] for row in fight.apart] == [("surface strip 6.5", "surface strip above 9")]
    assert fight.high90 - fight.low90 > 2 * (calm.high90 - calm.low90)


def test_the_bath_says_nothing_of_the_paper() -> None:
    bath = PhReading("bath", 12.4, 20.0)
    assert paper_ph([bath]) is None
    both = paper_ph([bath, PhReading("cold extract", 8.0)])
    assert both is not None and both.kept_apart == (bath,)
    assert both.median == pytest.approx(8.0, abs=0.01)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"ph": 15.0}, "between 0 and 14"),
        ({"temperature_c": 70.0}, "Fahrenheit"),
        ({"u": 0.0}, "u"),
    ],
)
def test_impossible_readings_are_refused(change: dict[str, float], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        PhReading(**({"kind": "cold extract", "ph": 7.0} | change))  # type: ignore[arg-type]
