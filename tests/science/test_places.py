"""Places of items with bands, against counting every pair."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.condition.places import darker, stand


@pytest.mark.parametrize("seed", range(6))
def test_places_are_those_of_comparing_every_pair(seed: int) -> None:
    rng = np.random.default_rng(seed)
    value = np.round(rng.gamma(2.0, 3.0, 60), 1)
    half = np.round(rng.gamma(1.0, 1.0, 60), 1) * (seed > 0)
    low, high = value - half, value + half
    found = stand(value, low, high)
    for i in range(60):
        surely_ahead = sum(low[j] > high[i] for j in range(60))
        surely_behind = sum(high[j] < low[i] for j in range(60))
        assert found.best[i] == 1 + surely_ahead
        assert found.worst[i] == 60 - surely_behind
        assert found.surely[i] == (60 - surely_behind <= 6)
        may = 1 + surely_ahead <= 6 and low[i] > np.median(value)
        assert found.perhaps[i] == (may and not found.surely[i])
    assert found.first == 6


def test_all_alike_means_that_nobody_is_first() -> None:
    value = np.full(20, 3.0)
    found = stand(value, value - 1, value + 1)
    assert not found.surely.any() and not found.perhaps.any()
    assert set(found.best) == {1} and set(found.worst) == {20}


def test_overlap_does_not_chain() -> None:
    """A overlaps B and B overlaps C, yet A is surely ahead of C."""
    value = np.array([10.0, 8.0, 6.0])
    found = stand(value, value - 1.2, value + 1.2)
    assert list(found.best) == [1, 1, 2] and list(found.worst) == [2, 3, 3]


def test_nobody_has_no_place() -> None:
    none = np.zeros(0)
    assert stand(none, none, none).first == 0


@pytest.mark.parametrize(
    ("value", "low", "high"),
    [([1.0], [2.0], [3.0]), ([1.0], [math.nan], [2.0]), ([1.0, 2.0], [0.0], [3.0])],
)
def test_bands_that_are_none_are_refused(
    value: list[float], low: list[float], high: list[float]
) -> None:
    with pytest.raises(ValueError, match="band"):
        stand(np.array(value), np.array(low), np.array(high))


def test_the_medians_own_doubt_is_that_of_a_median() -> None:
    """Drawn anew many times, the median scatters as its u says (within a fifth)."""
    rng = np.random.default_rng(4)
    found = [darker(rng.normal(75, 4, 81), np.full(81, 0.8)) for _ in range(400)]
    scatter = float(np.std([one[2] for one in found]))
    said = float(np.mean([one[3] for one in found]))
    assert said == pytest.approx(scatter, rel=0.2)
    by, u, middle, _ = found[0]
    assert abs(float(np.median(by))) < 1e-9 and 70 < middle < 80 and (u > 0.8).all()
