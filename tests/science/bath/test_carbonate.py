"""Hydrogen carbonate and conditioned water: engine against our own solver, and earlier values."""

from __future__ import annotations

import math

import pytest

from quirewell.science.bath import engine
from quirewell.science.bath.carbonate import (
    by_oracle,
    magnesium,
    magnesium_by_oracle,
    over_chalk,
)
from quirewell.science.bath.oracle_open import fugacity

# Computed before with the same constants: a regression, no outside check.
OPEN = {10: (8.221, 69.4), 15: (8.212, 63.9), 20: (8.205, 58.8), 25: (8.198, 54.0)}
CLOSED = {10: 10.31, 15: 10.17, 20: 10.04, 25: 9.91}
PRESSED = {10: (6.02, 1.15), 15: (6.01, 1.06), 20: (6.01, 0.97), 25: (6.00, 0.88)}


@pytest.mark.parametrize("temperature_c", OPEN)
def test_water_over_chalk_stands_where_it_stood(temperature_c: int) -> None:
    air, closed, gas = (over_chalk(temperature_c, p) for p in (420e-6, None, 1.0))
    assert air.ph == pytest.approx(OPEN[temperature_c][0], abs=0.002)
    assert air.caco3_mg_per_kg == pytest.approx(OPEN[temperature_c][1], abs=0.1)
    assert closed.ph == pytest.approx(CLOSED[temperature_c], abs=0.01)
    assert gas.ph == pytest.approx(PRESSED[temperature_c][0], abs=0.006)
    assert gas.caco3_mg_per_kg / 1000 == pytest.approx(PRESSED[temperature_c][1], abs=0.006)


@pytest.mark.parametrize("temperature_c", [0, 10, 20, 30, 40])
@pytest.mark.parametrize("co2_atm", [None, 1e-4, 420e-6, 0.03, 0.3, 1.0])
def test_engine_and_our_own_solver_agree(temperature_c: int, co2_atm: float | None) -> None:
    one, other = over_chalk(temperature_c, co2_atm), by_oracle(temperature_c, co2_atm)
    assert one.ph == pytest.approx(other.ph, abs=0.002)
    assert one.ca_mol_per_kg == pytest.approx(other.ca_mol_per_kg, rel=3e-3)


@pytest.mark.parametrize("temperature_c", [0, 10, 20, 30, 40])
@pytest.mark.parametrize("co2_atm", [420e-6, 0.01, 1.0])
@pytest.mark.parametrize("mg_mol_per_kg", [0.0, 0.002, 0.02, 0.05])
def test_engine_and_our_own_solver_agree_on_magnesium(
    temperature_c: int, co2_atm: float, mg_mol_per_kg: float
) -> None:
    one = magnesium(temperature_c, mg_mol_per_kg, co2_atm)
    other = magnesium_by_oracle(temperature_c, mg_mol_per_kg, co2_atm)
    assert one.ph == pytest.approx(other.ph, abs=0.002)
    assert one.mg_mol_per_kg == pytest.approx(other.mg_mol_per_kg, rel=2e-3, abs=1e-15)
    assert one.carbon_mol_per_kg == pytest.approx(other.carbon_mol_per_kg, rel=5e-3)


@pytest.mark.parametrize("temperature_c", [0.0, 20.0, 40.0])
@pytest.mark.parametrize("co2_atm", [420e-6, 0.3, 1.0])
def test_the_gas_is_as_little_ideal_as_the_engine_has_it(
    temperature_c: float, co2_atm: float
) -> None:
    gas = f"CO2(g) {math.log10(co2_atm)!r} 10"
    lines = ["SOLUTION 1", f"temp {temperature_c}", "pH 7 charge", "EQUILIBRIUM_PHASES 1", gas]
    row, _ = engine.punched(lines, {"phi": 'PR_PHI("CO2(g)")'})
    assert fugacity(temperature_c, co2_atm) / co2_atm == pytest.approx(row["phi"], abs=5e-6)


def test_without_the_engine_ours_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "load_engine", lambda: None)
    assert over_chalk(20.0).ph == pytest.approx(8.205, abs=0.003)
    assert magnesium(20.0, 0.05, 1.0).ph == pytest.approx(6.62, abs=0.01)
    assert magnesium(20.0, 0.05, 1.0).solver.startswith("quirewell")


def test_magnesium_goes_much_further_at_a_gentle_ph() -> None:
    pressed, thin = magnesium(20.0, 0.05, 1.0), magnesium(20.0, 0.05, 0.01)
    assert pressed.ph == pytest.approx(6.62, abs=0.01)  # computed before
    assert thin.ph == pytest.approx(8.52, abs=0.01)
    assert pressed.alkalinity_mol_per_kg == pytest.approx(0.1, rel=1e-4)
    assert pressed.alkalinity_mol_per_kg > 4 * over_chalk(20.0, 1.0).alkalinity_mol_per_kg


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: over_chalk(68.0), "0 to 40 °C"),
        (lambda: over_chalk(20.0, 400.0), "air 0.00042"),
        (lambda: magnesium(20.0, 5.0), "0 to 0.2 mol/kg"),
    ],
)
def test_what_cannot_be_is_refused(call, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=says):
        call()
