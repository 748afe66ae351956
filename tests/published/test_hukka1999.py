"""Mould growth index (``hukka1999``, ``viitanen2007``): constants through public code.

The days computed here are a regression of the same formula, labelled so.
"""

import math

import pytest

from quirewell.science.paper.mould import critical_rh, days_until, growth_per_day, mould_index


@pytest.mark.parametrize(("warm", "rh"), [(5, 88.02), (10, 82.03), (15, 80.04), (20, 80.04)])
def test_critical_humidity(warm, rh):
    assert critical_rh(warm) == pytest.approx(rh, abs=0.006)


@pytest.mark.parametrize(
    ("warm", "rh", "rate"), [(20, 90, 0.03400), (20, 95, 0.07208), (22, 97, 0.1027)]
)
def test_growth_of_the_most_sensitive(warm, rh, rate):
    assert growth_per_day(warm, rh) == pytest.approx(rate, rel=3e-3)


def test_at_eighty_per_cent_it_takes_five_months_to_begin():
    """151 days at 20 C and 80 % by the whole rate (k1 = k2 = 1); growth begins at 80.04 % there,
    where k2 is 1 - exp(-2.3), and goes with RH to the power 13.9."""
    least = critical_rh(20)
    whole = growth_per_day(20, least + 1e-9) / (1 - math.exp(-2.3))
    assert 1 / (whole * (80 / least) ** 13.9) == pytest.approx(151, abs=0.5)


@pytest.mark.parametrize(
    ("warm", "rh", "kind", "days"),
    [
        (20, 90, "very sensitive", 29.5), (22, 95, "very sensitive", 13.0),
        (25, 97, "very sensitive", 9.0), (20, 90, "sensitive", 51.0), (25, 97, "sensitive", 15.5),
    ],
)  # fmt: skip
def test_days_until_it_begins_as_computed_before(warm, rh, kind, days):
    assert days_until(warm, rh, 1.0, kind) == pytest.approx(days, rel=0.03)


def test_nothing_grows_when_dry_and_what_grew_goes_back_slowly():
    assert growth_per_day(20, 70) == 0 and math.isinf(days_until(20, 70))
    wet = mould_index([22.0] * 240, [97.0] * 240)
    both = mould_index([22.0] * 312, [97.0] * 240 + [50.0] * 72)
    assert 0.5 < wet[-1] < 1.5
    assert both[239] == pytest.approx(wet[-1])
    assert wet[-1] - both[-1] == pytest.approx(0.032 * 6 / 24 + 0.016 * 48 / 24, rel=1e-6)


def test_freezing_and_shares_of_one_are_refused():
    with pytest.raises(ValueError, match="0 and 50 °C"):
        growth_per_day(0, 90)
    with pytest.raises(ValueError, match="per cent"):
        growth_per_day(20, 0.9)
