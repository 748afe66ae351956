"""Ratios of lives: the spread of what is not known, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.paper.climate import climate, monthly
from quirewell.science.paper.decay import damage_rate
from quirewell.science.paper.heat_dose import dose_over, heat_dose
from quirewell.science.paper.outlook import Ph, Store, outlook


def test_from_acid_to_alkaline_the_band_is_wide() -> None:
    one = outlook(Ph(4.8, 0.3), Ph(8.3, 0.4))
    # Computed before by another program: 3.4, 6.9, 16.9.
    assert one.median == pytest.approx(6.9, rel=0.05)
    assert one.low90 == pytest.approx(3.4, rel=0.1)
    assert one.high90 == pytest.approx(16.9, rel=0.15)


def test_nothing_changed_is_a_ratio_of_one_about_the_readings() -> None:
    one = outlook(Ph(5.0, 0.1), Ph(5.0, 0.1))
    assert one.median == pytest.approx(1.0, abs=0.01)
    assert one.low90 < 1 < one.high90


def test_no_benefit_is_claimed_beyond_eight_and_a_half() -> None:
    usual, strong = (outlook(Ph(5.0, 0.1), Ph(ph, 0.1)).median for ph in (8.7, 10.5))
    assert strong == pytest.approx(usual, rel=0.02)


def test_a_better_method_narrows_the_band() -> None:
    surface, extract = (outlook(Ph(5.0, u), Ph(8.0, u)) for u in (0.5, 0.1))
    assert extract.high90 / extract.low90 < surface.high90 / surface.low90


def test_a_cooler_store_doubles_the_life_and_says_how_sure() -> None:
    one = outlook(None, None, Store(20, 0.5), Store(15, 0.5))
    assert 1.7 < one.median < 2.6
    assert one.low90 < one.median < one.high90
    assert one.parts["pH"] == 0


def test_treatment_and_store_multiply() -> None:
    both = outlook(Ph(5, 0.1), Ph(8, 0.1), Store(20, 0.5), Store(15, 0.4)).median
    parts = (
        outlook(Ph(5, 0.1), Ph(8, 0.1)).median
        * outlook(None, None, Store(20, 0.5), Store(15, 0.4)).median
    )
    assert both == pytest.approx(parts, rel=0.05)


def test_the_same_seed_gives_the_same_answer() -> None:
    first, second = (outlook(Ph(5, 0.2), Ph(8, 0.2)) for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((Ph(5, 0.1), None), "both pH"),
        ((Ph(15, 0.1), Ph(7, 0.1)), "between 2.5 and 12"),
        ((None, None, Store(68, 0.5)), "Fahrenheit"),
        ((None, None, Store(20, 50)), "0.5 for 50 %"),
    ],
)
def test_what_cannot_be_is_refused(arguments: tuple, says: str) -> None:  # type: ignore[type-arg]
    with pytest.raises(ValueError, match=says):
        outlook(*arguments)


def _year(swing_c: float, swing_rh: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    hour = np.arange(8760.0)
    wave = np.sin(2 * np.pi * hour / 8760)
    day = np.sin(2 * np.pi * hour / 24)
    return 21 + swing_c * wave + 0.3 * day, 0.50 + swing_rh * wave, np.ones(8760)


def test_swings_cost_more_than_the_mean_says() -> None:
    calm, wild = climate(*_year(0.0, 0.0)), climate(*_year(8.0, 0.15))
    assert calm.penalty_of_swings.median == pytest.approx(1.0, abs=0.01)
    # Computed before with the damage function: 1.71 for such a year.
    assert wild.penalty_of_swings.low < 1.71 < wild.penalty_of_swings.high
    assert wild.mean_c == pytest.approx(21, abs=0.01)
    assert wild.two_cooler.low > 1.2
    assert wild.ten_drier.low > 1.1


def test_many_readings_gathered_give_what_each_alone_gives() -> None:
    t, h, w = _year(8.0, 0.15)
    whole, thin = climate(t, h, w), climate(t[::2], h[::2], w[::2])
    assert whole.rate_relative.median == pytest.approx(thin.rate_relative.median, rel=2e-3)


def test_gaps_weigh_nothing() -> None:
    t, h, w = _year(8.0, 0.15)
    w[4000:6000] = 0
    assert climate(t, h, w).hours == 6760
    assert climate(t, h, w).mean_c != pytest.approx(21, abs=0.1)


def test_a_year_by_months_is_warm_in_its_warm_months() -> None:
    t, h, w = _year(8.0, 0.0)
    month = (np.arange(8760) // 730 + 1).astype(np.int64)
    rows = monthly(t, h, w, month)
    assert len(rows) == 12
    assert max(rows, key=lambda row: row[3])[0] in (3, 4)


@pytest.mark.parametrize(
    ("hours", "warm", "damp", "days", "low", "high"),
    [
        # Monte Carlo over energy, exponent, humidity and 2 K done apart from this code: regression.
        (0.25, 68.0, None, 6.0, 2.0, 19.2),
        (0.25, 52.6, None, 1.05, 0.42, 2.7),
        (5 / 3600, 121.0, 0.5, 3.6, 0.6, 20.0),
        (30 / 3600, 121.0, 0.5, 22.0, 4.0, 120.0),
    ],
)
def test_heat_of_treatment_agrees_with_a_monte_carlo(
    hours: float, warm: float, damp: float | None, days: float, low: float, high: float
) -> None:
    dose = heat_dose(hours, warm, damp)
    assert dose.days == pytest.approx(days, rel=0.1)
    assert dose.low90_days == pytest.approx(low, rel=0.12)
    assert dose.high90_days == pytest.approx(high, rel=0.08)


@pytest.mark.parametrize(
    ("hours", "warm", "damp"), [(4, 22, 0.95), (4, 22, 0.90), (1, 60, 0.6), (1, 78, 0.3)]
)
def test_the_damage_function_lies_within_the_band_of_a_dose(
    hours: float, warm: float, damp: float
) -> None:
    ratio = float(damage_rate(warm, damp, 5.0) / damage_rate(20.0, 0.5, 5.0))
    dose = heat_dose(hours, warm, damp)
    assert dose.low90_days < hours / 24 * ratio < dose.high90_days


def test_a_history_counts_as_its_parts_do() -> None:
    parts = [heat_dose(0.1, 60.0, 0.5).days, heat_dose(0.2, 40.0, 0.5).days]
    assert dose_over([0.1, 0.2], [60.0, 40.0], [0.5, 0.5]).days == pytest.approx(sum(parts))
    assert heat_dose(0.0, 60.0, 0.5).days == 0
    assert heat_dose(24.0, 20.0, 0.5).days == pytest.approx(1.0)
    with pytest.raises(ValueError, match="humidity in the paper"):
        heat_dose(1, 20, 50)
    with pytest.raises(ValueError, match="125 °C"):
        heat_dose(1, 250, 0.5)
