"""Low, likely and high against scipy's beta and triangle."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from quirewell.science.planning.typed_range import Range


def theirs(one: Range):
    a, b = one.shape
    return stats.beta(a, b, loc=one.low, scale=one.high - one.low)


@pytest.mark.parametrize("ends", [(60, 90, 160), (10, 10, 40), (5, 20, 20), (1, 50, 51)])
def test_mean_and_quantiles_are_those_of_the_beta_distribution(ends) -> None:
    one = Range(*ends)
    assert one.mean == pytest.approx(theirs(one).mean())
    for share in (0.05, 0.5, 0.95):
        assert one.quantile(share) == pytest.approx(theirs(one).ppf(share))


def test_its_peak_is_the_likely_value() -> None:
    one = Range(60, 90, 160)
    prices = np.linspace(61, 159, 981)
    assert prices[np.argmax(theirs(one).pdf(prices))] == pytest.approx(90, abs=0.1)


def test_logs_are_those_of_many_draws() -> None:
    one = Range(60, 90, 160)
    draws = np.log(theirs(one).rvs(200_000, random_state=3))
    assert one.logs == pytest.approx((draws.mean(), draws.std()), rel=0.01)


def test_a_triangle_would_put_more_than_twice_as_much_into_the_ends() -> None:
    one = Range(1, 2, 3)
    triangle = stats.triang(0.5, loc=1, scale=2)
    ends = [d.cdf(1.2) + d.sf(2.8) for d in (theirs(one), triangle)]
    assert ends[1] > 2 * ends[0]


@pytest.mark.parametrize("ends", [(0, 1, 2), (3, 2, 4), (1, 5, 4), (2, 2, 2), (1, float("nan"), 3)])
def test_what_is_no_range_is_refused(ends) -> None:
    with pytest.raises(ValueError, match="low, likely and high"):
        Range(*ends)
