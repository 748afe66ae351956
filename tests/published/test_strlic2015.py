"""Damage function for historic paper: the table of wear (``strlic2015b``, read), and the rate.

The rate's coefficients are **from memory**: its values are a regression computed here, no outside
check.
"""

import pytest

from quirewell.science.paper.decay import damage_rate, dp_after, years_to, years_to_unfit

WEAR = {300: 55, 400: 160, 500: 450, 600: 1300, 700: 3700, 800: 10_000}
RATES = {4.0: 1.1505e-5, 5.0: 6.5599e-6, 6.0: 3.7402e-6, 7.0: 2.1326e-6, 8.0: 1.2159e-6}


@pytest.mark.parametrize("dp", WEAR)
def test_years_of_use_until_a_sheet_in_a_hundred_is_unfit(dp):
    assert years_to_unfit(dp) == pytest.approx(WEAR[dp], rel=1e-9)


def test_the_table_is_nearly_a_power_of_its_dp():
    for dp, years in WEAR.items():
        assert 55 * 2.84 ** ((dp - 300) / 100) == pytest.approx(years, rel=0.08)


@pytest.mark.parametrize("ph", RATES)
def test_rates_as_computed_before(ph):
    assert float(damage_rate(20.0, 0.5, ph)) == pytest.approx(RATES[ph], rel=1e-4)


def test_lives_and_ratios_as_computed_before():
    assert years_to(700, 300, RATES[5.0]) == pytest.approx(290, abs=0.5)
    assert dp_after(700, 6.56e-6, 100) == pytest.approx(479.7, abs=0.05)
    assert dp_after(700, 6.56e-6, 100, exact=True) == pytest.approx(480.0, abs=0.05)
    per_ph = damage_rate(20.0, 0.5, 5.0) / damage_rate(20.0, 0.5, 6.0)
    assert float(per_ph) == pytest.approx(1.754, abs=5e-4)
    for cooler, times in ((15.0, 2.01), (10.0, 4.16)):
        ratio = damage_rate(20.0, 0.5, 5.0) / damage_rate(cooler, 0.5, 5.0)
        assert float(ratio) == pytest.approx(times, rel=5e-3)


def test_beyond_the_table_is_refused():
    with pytest.raises(ValueError, match="300 to 800"):
        years_to_unfit(250)
