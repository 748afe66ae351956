"""The curve that random baths are read off, against the engine between its places."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.science.bath import engine
from quirewell.science.bath.lime_curve import LEAST, lime_curve


@pytest.mark.parametrize("temperature_c", [0.0, 13.0, 25.0, 40.0])
def test_between_its_places_it_says_what_the_engine_says(temperature_c: float) -> None:
    curve = lime_curve(temperature_c)
    top = engine.saturate(temperature_c).ca_mol_per_kg
    for x in (*np.geomspace(3e-6, top, 23).tolist(), *(-np.geomspace(3e-6, 2e-3, 11)).tolist()):
        found = engine.speciate(max(x, 0.0) + 0.012, temperature_c, max(-x, 0.0) + 0.012)
        assert float(curve.ph(x)) == pytest.approx(found.ph, abs=0.002)
        assert float(curve.alkali(x)) == pytest.approx(2 * found.ca_mol_per_kg, abs=7e-6)
        assert float(curve.hydroxide(x)) == pytest.approx(found.oh_mol_per_kg, rel=0.004)


@pytest.mark.parametrize("temperature_c", [0.0, 20.0, 40.0])
def test_strong_acid_counts_as_spent_lime(temperature_c: float) -> None:
    curve, ca = lime_curve(temperature_c), engine.saturate(temperature_c).ca_mol_per_kg
    for share in (0.5, 0.1):
        found = engine.speciate(share * ca, temperature_c, acid_mol_per_kg=0.002)
        assert float(curve.ph(share * ca - 0.001)) == pytest.approx(found.ph, abs=0.02)


def test_ph_falls_all_along_and_alkali_turns_to_hydrogen_carbonate() -> None:
    curve = lime_curve(20.0)
    x = np.linspace(LEAST, 0.02, 400)
    assert np.all(np.diff(curve.ph(x)) > 0)
    assert float(curve.alkali(np.array(-0.002))) > 5 * float(curve.alkali(np.array(0.0)))


def test_outside_the_tested_range_is_refused() -> None:
    with pytest.raises(ValueError, match="0 to 40 °C"):
        lime_curve(68.0)
