"""The bath as mixed: bands, budgets, and what is refused."""

import math

import numpy as np
import pytest

from quirewell.science.bath.lime_water import mix, pick_up
from quirewell.science.bath.recipe import Recipe, RecipeError
from quirewell.science.evidence.normal import Z90


def test_dilution_takes_capacity_not_ph():
    full, half, tenth = (mix(Recipe(share, 20.0)) for share in (1.0, 0.5, 0.1))
    assert full.ph.value - half.ph.value == pytest.approx(0.26, abs=0.01)
    assert full.ph.value - tenth.ph.value == pytest.approx(0.90, abs=0.01)
    assert tenth.reserve_pct_caco3.value == pytest.approx(full.reserve_pct_caco3.value / 10)


@pytest.mark.parametrize("strength", [0.1, 0.5, 1.0])
@pytest.mark.parametrize("temperature_c", [0.0, 20.0, 40.0])
def test_budget_adds_up_and_the_band_holds_the_value(strength, temperature_c):
    bath = mix(Recipe(strength, temperature_c, 4.0))
    for estimate in (bath.ph, bath.ca_mol_per_kg, bath.caoh2_g_per_kg, bath.caoh2_g, bath.ca_ppm):
        assert estimate.u == pytest.approx(math.hypot(*(term.u for term in estimate.terms)))
        assert estimate.low90 == pytest.approx(estimate.value - Z90 * estimate.u)
        assert estimate.high90 == pytest.approx(estimate.value + Z90 * estimate.u)
    assert bath.reserve_pct_caco3.low90 < bath.reserve_pct_caco3.value
    assert bath.reserve_pct_caco3.value < bath.reserve_pct_caco3.high90


def test_a_better_thermometer_narrows_the_ph():
    coarse = mix(Recipe(1.0, 20.0, temperature_u_c=1.0)).ph
    fine = mix(Recipe(1.0, 20.0, temperature_u_c=0.1)).ph
    assert fine.u < coarse.u
    term = next(term for term in coarse.terms if term.name == "temperature")
    assert term.u == pytest.approx(0.037, abs=0.003)


def test_grams_follow_litres_and_the_density_of_water():
    bath = mix(Recipe(0.5, 20.0, 4.0))
    assert bath.caoh2_g.value == pytest.approx(bath.caoh2_g_per_kg.value * 4 * 0.99821, rel=1e-4)
    assert bath.saturated_litres == pytest.approx(2.0)


def test_weighing_a_leaf_narrows_the_reserve():
    guessed = mix(Recipe(1.0, 20.0))
    weighed = mix(Recipe(1.0, 20.0, pickup_g_per_g=1.33))
    assert weighed.reserve_pct_caco3.value == pytest.approx(guessed.reserve_pct_caco3.value)
    assert weighed.reserve_pct_caco3.u < 0.6 * guessed.reserve_pct_caco3.u
    assert pick_up(weighed.recipe).kind == "weighed"


def test_drained_leaf_carries_more():
    drained = mix(Recipe(1.0, 20.0, leaf="drained")).reserve_pct_caco3.value
    assert drained > 1.3 * mix(Recipe(1.0, 20.0)).reserve_pct_caco3.value


@pytest.mark.parametrize(
    ("wrong", "field", "says"),
    [
        ({"temperature_c": 68.0}, "temperature_c", "Fahrenheit? 68 °F is 20.0 °C"),
        ({"temperature_c": 293.15}, "temperature_c", "kelvin? 293.15 K is 20.0 °C"),
        ({"temperature_c": -5.0}, "temperature_c", "between 0 and 40 °C, got -5 °C"),
        ({"litres": 400.0}, "litres", "typed in mL? 400 mL is 0.4 L"),
        ({"litres": -1.0}, "litres", "between 0.1 and 40 L, got -1 L"),
        ({"litres": math.nan}, "litres", "got nan L"),
        ({"strength": 1.1}, "strength", "(110 %); water holds no more than saturation"),
        ({"strength": 50.0}, "strength", "was it a per cent? Write 50%"),
        ({"strength": 0.001}, "strength", "carbon dioxide of the air"),
        ({"strength": -0.5}, "strength", "got -0.5"),
        ({"pickup_g_per_g": 150.0}, "pickup_g_per_g", "(wet mass - dry mass) / dry mass"),
        ({"pickup_u_g_per_g": 0.1}, "pickup_u_g_per_g", "needs the pick-up"),
        ({"temperature_u_c": 0.0}, "temperature_u_c", "between 0.01 and 5 °C"),
        ({"leaf": "soaked"}, "leaf", "blotted or drained"),
    ],
)
def test_bad_input_is_answered_in_a_sentence(wrong, field, says):
    with pytest.raises(RecipeError) as caught:
        Recipe(**wrong)
    assert [name for name, _ in caught.value.problems] == [field]
    assert says in str(caught.value)


def test_every_problem_is_said_at_once():
    with pytest.raises(RecipeError) as caught:
        Recipe(2.0, 68.0, 400.0)
    assert len(caught.value.problems) == 3


def test_reserve_band_agrees_with_sampling_the_published_solids():
    """43 +- 9 % of solids as a 90 % band, sampled, against the log-normal band of the model."""
    bath = mix(Recipe(0.5, 20.0))
    draw = np.random.default_rng(1936)
    solids = draw.normal(43, 9 / Z90, 200_000)
    solids = solids[(solids > 15) & (solids < 95)]
    ca = draw.normal(bath.ca_mol_per_kg.value, bath.ca_mol_per_kg.u, solids.size)
    low, middle, high = np.quantile((100 / solids - 1) * ca * 10.0087, [0.05, 0.5, 0.95])
    reserve = bath.reserve_pct_caco3
    assert reserve.value == pytest.approx(middle, rel=0.01)
    assert reserve.low90 == pytest.approx(low, rel=0.05)
    assert reserve.high90 == pytest.approx(high, rel=0.05)


def test_model_counts_its_distance_from_the_published_dilution_value():
    def model_u(strength: float) -> float:
        terms = mix(Recipe(strength, 25.0)).ph.terms
        return next(term.u for term in terms if term.name == "model")

    assert model_u(1.0) == pytest.approx(0.015)
    assert model_u(0.5) == model_u(0.1) == pytest.approx(math.hypot(0.015, 0.018))


def test_published_ph_standard_lies_inside_the_band():
    """Bates, Bower and Smith 1956: 12.45 at 25 C, and 0.28 less at half the concentration."""
    for strength, ph in ((1.0, 12.45), (0.5, 12.45 - 0.28)):
        found = mix(Recipe(strength, 25.0)).ph
        assert found.low90 < ph < found.high90
