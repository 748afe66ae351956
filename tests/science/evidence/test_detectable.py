from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.evidence.detectable import (
    decision_factor,
    event_rate_limit,
    minimum_detectable_change,
    power,
    smallest_detectable,
)


@pytest.mark.parametrize(("readings", "factor"), [(1, 2.772), (2, 1.960), (3, 1.600), (5, 1.240)])
def test_minimum_detectable_change_equals_the_computed_table(readings: int, factor: float) -> None:
    assert minimum_detectable_change(1.0, readings, readings) == pytest.approx(factor, abs=5e-4)


def test_unequal_numbers_of_readings_count_each_side() -> None:
    assert minimum_detectable_change(1.0, 1, 4) == pytest.approx(1.959964 * 1.25**0.5, abs=1e-5)


def test_smallest_detectable_is_called_in_95_of_100_simulated_cases() -> None:
    u, k = 0.04, decision_factor(0.05, looks=2)
    change = smallest_detectable(u, k)
    seen = change + u * np.random.default_rng(1).normal(size=40_000)
    assert np.mean(np.abs(seen) > k * u) == pytest.approx(0.95, abs=0.005)


def test_no_change_is_called_in_5_of_100_over_all_looks() -> None:
    k = decision_factor(0.05, looks=2)
    noise = np.random.default_rng(2).normal(size=(40_000, 2))
    assert np.mean(np.any(np.abs(noise) > k, axis=1)) == pytest.approx(0.05, abs=0.005)


def test_power_without_uncertainty_sees_everything() -> None:
    assert power(1e-9, 0.0, 2.0) == 1.0
    assert power(0.0, 0.0, 2.0) == 0.0
    assert smallest_detectable(0.0, 2.0) == 0.0


@pytest.mark.parametrize("bad", [(-1, 10), (11, 10), (0, 0)])
def test_impossible_counts_are_refused(bad: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="events must lie between"):
        event_rate_limit(*bad)


def test_all_events_have_the_limit_one() -> None:
    assert event_rate_limit(4, 4) == 1.0
