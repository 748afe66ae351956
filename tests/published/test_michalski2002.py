"""Relative life by temperature and humidity (``michalski2002``; the formula as it is quoted)."""

import pytest

from quirewell.science.paper.decay import relative_life, relative_rate

PAPER = {
    (20, 0.5): 1.0, (15, 0.5): 2.038, (25, 0.5): 0.503, (10, 0.5): 4.26, (20, 0.4): 1.337,
    (20, 0.3): 1.943, (20, 0.25): 2.462, (10, 0.3): 8.27,
}  # fmt: skip


@pytest.mark.parametrize("state", PAPER)
def test_paper_at_a_hundred_kilojoules(state):
    assert relative_life(*state) == pytest.approx(PAPER[state], rel=2e-3)


def test_yellowing_at_seventy():
    assert relative_life(15, 0.5, 70e3) == pytest.approx(1.646, abs=1e-3)


def test_the_rule_of_its_title():
    assert relative_life(15, 0.5) == pytest.approx(2, rel=0.03)
    assert relative_life(20, 0.25) > 2


def test_the_power_law_of_rates_is_its_inverse():
    for (temperature_c, rh), life in PAPER.items():
        rate = float(relative_rate(temperature_c, rh, 100e3, "power"))
        assert rate * life == pytest.approx(1, rel=2e-3)
