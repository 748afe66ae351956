"""Sorption of fibre (``tryding2022``): water contents and heats that its parameters give.

Computed before by another program from the published parameters; the paper's figures not read.
"""

from __future__ import annotations

import math

import pytest

from quirewell.science.paper.sorption import CURVES, humidity_in, sorption_heat, water_at

GAS_V = 461.52


@pytest.mark.parametrize(
    ("celsius", "rh", "water"),
    [(20, 0.2, 0.0555), (20, 0.5, 0.1056), (20, 0.65, 0.1353), (20, 0.8, 0.1760),
     (20, 0.9, 0.2209), (20, 0.95, 0.2622), (68, 0.2, 0.0364), (68, 0.5, 0.0693),
     (68, 0.8, 0.1155), (68, 0.95, 0.1722)],
)  # fmt: skip
def test_water_content(celsius, rh, water):
    assert water_at(rh, celsius, "tryding") == pytest.approx(water, abs=6e-5)


@pytest.mark.parametrize(("u", "kj"), [(0.03, 1034), (0.05, 942), (0.10, 692), (0.20, 282)])
def test_heat_of_sorption(u, kj):
    assert sorption_heat(u, 20.0, "tryding") / 1000 == pytest.approx(kj, abs=0.6)


@pytest.mark.parametrize(("rh", "water"), [(0.5, 0.091), (0.8, 0.149), (0.95, 0.213)])
def test_the_drier_curve(rh, water):
    """From memory (``heikkila1993``): regression only."""
    assert water_at(rh, 20.0, "heikkila") == pytest.approx(water, abs=6e-4)


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("u", [0.02, 0.06, 0.12, 0.25])
@pytest.mark.parametrize("celsius", [15.0, 45.0, 80.0])
def test_heat_is_that_of_the_same_curve(curve, u, celsius):
    step = 0.01
    low, high = (math.log(humidity_in(u, celsius + d, curve)) for d in (-step, step))
    slope = (high - low) / (2 * step)
    kelvin = celsius + 273.15
    expected = GAS_V * kelvin**2 * slope
    assert sorption_heat(u, celsius, curve) == pytest.approx(expected, rel=1e-5, abs=1.0)


@pytest.mark.parametrize("curve", CURVES)
def test_heat_falls_to_nothing_as_paper_grows_wet(curve):
    heats = [sorption_heat(u, 20.0, curve) for u in (0.02, 0.05, 0.1, 0.2, 0.4, 0.8)]
    assert heats == sorted(heats, reverse=True)
    assert heats[-1] < 0.1 * heats[0]


@pytest.mark.parametrize("curve", CURVES)
def test_wetter_paper_is_in_balance_with_damper_air(curve):
    for celsius in (10.0, 50.0, 90.0):
        humid = [humidity_in(u / 100, celsius, curve) for u in range(0, 60)]
        assert humid == sorted(humid) and humid[0] >= 0 and humid[-1] <= 1


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="per cent"):
        water_at(50, 20.0, "tryding")
    with pytest.raises(ValueError, match="0 to 95 °C"):
        humidity_in(0.1, 121.0, "tryding")
    with pytest.raises(ValueError, match="one of tryding"):
        humidity_in(0.1, 20.0, "linear")  # type: ignore[arg-type]
