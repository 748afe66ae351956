"""Moist air: saturation, dew point, wet bulb, mixing ratio (``ashrae2017``, by a library)."""

from __future__ import annotations

import pytest

from quirewell.science.paper.air import dew_point, film_beta, mixing_ratio, wet_bulb
from quirewell.science.press.kernel import p_sat


@pytest.mark.parametrize(
    ("celsius", "pascal"), [(20, 2338.8), (40, 7383.5), (68, 28596.0), (100, 101418.7)]
)
def test_saturated_vapour(celsius, pascal):
    assert p_sat(float(celsius)) == pytest.approx(pascal, rel=1e-4)


def test_it_is_not_the_usual_short_form():
    """Magnus is 0.7 % high at 68 C and 2.6 % at 100 C."""

    def magnus(t: float) -> float:
        return float(610.94 * 2.718281828459045 ** (17.625 * t / (243.04 + t)))

    assert magnus(68.0) / p_sat(68.0) - 1 == pytest.approx(0.007, abs=0.001)
    assert magnus(100.0) / p_sat(100.0) - 1 == pytest.approx(0.026, abs=0.001)


def test_air_at_20_c_and_50_per_cent():
    assert dew_point(20.0, 0.5) == pytest.approx(9.27, abs=0.02)
    assert wet_bulb(20.0, 0.5) == pytest.approx(13.78, abs=0.02)
    assert mixing_ratio(20.0, 0.5) == pytest.approx(0.00726, abs=1e-5)
    assert film_beta(4.0) == pytest.approx(2.4e-8, rel=0.02)
    # Absolute humidity, 8.64 g/m3: the mixing ratio by the dry air of a cubic metre.
    dry = (101_325.0 - 0.5 * p_sat(20.0)) / (287.042 * 293.15)
    assert 1000 * mixing_ratio(20.0, 0.5) * dry == pytest.approx(8.64, abs=0.02)


def test_saturated_air_is_its_own_dew_point_and_wet_bulb():
    assert dew_point(25.0, 1.0) == pytest.approx(25.0, abs=1e-3)
    assert wet_bulb(25.0, 1.0) == pytest.approx(25.0, abs=1e-3)


@pytest.mark.parametrize("bad", [(20, 50), (20, 0), (120, 0.5)])
def test_what_is_no_air_is_refused(bad):
    with pytest.raises(ValueError, match=r"per cent|share above|between 0 and 95"):
        dew_point(*bad)
