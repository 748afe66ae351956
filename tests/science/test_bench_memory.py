"""Exact bands for shares and medians, against published values and scipy's own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest, quantile_test

from quirewell.science.planning.bench_memory import FEWEST, holds_the_next, median_band, share_band


def test_no_mishap_among_twelve() -> None:
    """0 of 12: the one-sided 95 % limit is 1 - 0.05^(1/12) = 0.2209 (closed form)."""
    assert share_band(0, 12).high == pytest.approx(0.2209, abs=5e-5)
    assert share_band(0, 12).high == pytest.approx(1 - 0.05 ** (1 / 12), rel=1e-12)


def test_three_of_ten_as_tabled() -> None:
    """3 of 10, 95 %: 0.0667 to 0.6525 (the usual table of exact limits, clopper1934)."""
    band = share_band(3, 10, 0.95)
    assert (round(band.low, 4), round(band.high, 4)) == (0.0667, 0.6525)


@pytest.mark.parametrize("n", [1, 5, 12, 60])
def test_shares_agree_with_scipy(n: int) -> None:
    for hits in range(n + 1):
        theirs = binomtest(hits, n).proportion_ci(0.90, method="exact")
        band = share_band(hits, n)
        assert (band.low, band.high) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize(("hits", "n"), [(2, 1), (-1, 5), (0, 0)])
def test_shares_that_cannot_be_are_refused(hits: int, n: int) -> None:
    with pytest.raises(ValueError, match="a share"):
        share_band(hits, n)


@pytest.mark.parametrize("n", [5, 6, 10, 20, 41])
def test_medians_agree_with_scipy(n: int) -> None:
    """scipy's one-sided exact limits of a quantile at 95 % each are the 90 % band."""
    values = np.random.default_rng(n).lognormal(size=n)
    band = median_band(list(values))
    assert band is not None
    low = quantile_test(values, alternative="greater").confidence_interval(0.95).low
    high = quantile_test(values, alternative="less").confidence_interval(0.95).high
    assert (band.low, band.high) == pytest.approx((low, high))


def test_the_ranks_of_twenty_are_those_of_the_sign_test() -> None:
    """n = 20: the 6th and the 15th (tables of the sign test's limits)."""
    band = median_band(list(range(1, 21)))
    assert band is not None
    assert (band.low, band.high) == (6, 15)


def test_too_few_have_no_band() -> None:
    assert median_band([1.0] * (FEWEST - 1)) is None
    assert median_band([1.0] * FEWEST) is not None
    assert 0.5**FEWEST <= 0.05 < 0.5 ** (FEWEST - 1)


def test_bands_hold_as_often_as_they_say() -> None:
    """Planted truth: medians of 1 and a share of 0.1, 4000 benches of each size."""
    rng = np.random.default_rng(8)
    for n in (5, 9, 14):
        held = []
        for row in rng.lognormal(size=(4000, n)):
            band = median_band(list(row))
            assert band is not None
            held.append(band.low <= 1 <= band.high)
        assert np.mean(held) > 0.885
        shares = [share_band(int(k), n) for k in rng.binomial(n, 0.1, 4000)]
        assert np.mean([one.low <= 0.1 <= one.high for one in shares]) > 0.885
        following = rng.lognormal(size=(4000, n + 1))
        inside = (following[:, :n].min(1) <= following[:, n]) & (
            following[:, n] <= following[:, :n].max(1)
        )
        assert np.mean(inside) == pytest.approx(holds_the_next(n), abs=0.03)
