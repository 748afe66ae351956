"""Hydrogen carbonate baths and conditioned wash water: calcium and magnesium under carbon dioxide.

Water over chalk takes up a little lime: open to the air it stands at pH 8.2 with about 55 mg/kg of
CaCO3, without air at 9.9. Under carbon dioxide it holds far more, as hydrogen carbonate, at pH 6;
in the paper that dries to carbonate. Magnesium goes the same way and much further.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from quirewell.science.bath import engine, oracle, oracle_open
from quirewell.science.bath.constants import MOLAR_MASS_CACO3
from quirewell.science.bath.solution import check_temperature

AIR_ATM = 420e-6
MOST_MG = 0.2


@dataclass(frozen=True, slots=True)
class HardWater:
    """Water with its alkaline earths: pH, calcium and magnesium [mol/kg], alkalinity [mol/kg] (two
    for each), dissolved carbon in all [mol/kg], and the program that said so."""

    temperature_c: float
    co2_atm: float | None
    ph: float
    ca_mol_per_kg: float
    mg_mol_per_kg: float
    carbon_mol_per_kg: float
    solver: str

    @property
    def alkalinity_mol_per_kg(self) -> float:
        """Acid it can take up [mol/kg]."""
        return 2 * (self.ca_mol_per_kg + self.mg_mol_per_kg)

    @property
    def caco3_mg_per_kg(self) -> float:
        """Calcium as calcium carbonate [mg/kg]."""
        return 1e6 * self.ca_mol_per_kg * MOLAR_MASS_CACO3 / 1000


def over_chalk(temperature_c: float, co2_atm: float | None = AIR_ATM) -> HardWater:
    """Water in equilibrium with calcite, and with carbon dioxide at a pressure [atm].

    ``co2_atm`` None: stirred with chalk and kept from air.

    Raises
    ------
    ValueError
        Outside 0 to 40 C, or 1e-5 to 1 atm.
    SpeciationError
        When the engine warns or fails.

    >>> water = over_chalk(25.0)
    >>> round(water.ph, 1), round(water.caco3_mg_per_kg)
    (8.2, 54)
    """
    _check(temperature_c, co2_atm, 0.0)
    if engine.load_engine() is None:
        return by_oracle(temperature_c, co2_atm)
    phases = ["Calcite 0 10"]
    if co2_atm is not None:
        phases.append(f"CO2(g) {math.log10(co2_atm)!r} 10")
    return _solved(temperature_c, co2_atm, [], phases)


def magnesium(temperature_c: float, mg_mol_per_kg: float, co2_atm: float = AIR_ATM) -> HardWater:
    """Magnesium hydrogen carbonate of a strength [mol/kg] under carbon dioxide [atm].

    Magnesium carbonates fall out slowly and are not let fall out here: above about 0.01 mol/kg in
    open air such a bath is not at rest.

    Raises
    ------
    ValueError, SpeciationError
        As :func:`over_chalk`.
    """
    _check(temperature_c, co2_atm, mg_mol_per_kg)
    if engine.load_engine() is None:
        return magnesium_by_oracle(temperature_c, mg_mol_per_kg, co2_atm)
    added = [f"Mg(OH)2 {float(mg_mol_per_kg)!r}"]
    return _solved(temperature_c, co2_atm, added, [f"CO2(g) {math.log10(co2_atm)!r} 10"])


def _check(temperature_c: float, co2_atm: float | None, mg: float) -> None:
    check_temperature(temperature_c)
    if co2_atm is not None and not 1e-5 <= co2_atm <= 1.0:
        raise ValueError(
            f"carbon dioxide has a pressure of 0.00001 to 1 atm here (air 0.00042), got {co2_atm:g}"
        )
    if not 0 <= mg <= MOST_MG:
        raise ValueError(f"magnesium of 0 to {MOST_MG:g} mol/kg can be had, got {mg:g}")


def _solved(
    temperature_c: float, co2_atm: float | None, added: list[str], phases: list[str]
) -> HardWater:
    lines = ["SOLUTION 1", f"temp {float(temperature_c)!r}", "pH 7 charge"]
    if added:
        lines += ["REACTION 1", *added, "1.0"]
    lines += ["EQUILIBRIUM_PHASES 1", *phases]
    row, solver = engine.punched(lines, {"pH": '-LA("H+")', "Ca": 'TOT("Ca")', "Mg": 'TOT("Mg")',
                                         "C": 'TOT("C(4)")'})  # fmt: skip
    return HardWater(temperature_c, co2_atm, row["pH"], row["Ca"], row["Mg"], row["C"], solver)


def by_oracle(temperature_c: float, co2_atm: float | None = AIR_ATM) -> HardWater:
    """:func:`over_chalk` by the solver of our own."""
    _check(temperature_c, co2_atm, 0.0)
    if co2_atm is None:
        found = oracle.speciate(0.01, temperature_c, 0.01)
        return HardWater(
            temperature_c, None, found.ph, found.ca_mol_per_kg, 0.0, found.co2_mol_per_kg,
            found.solver,
        )  # fmt: skip
    open_ = oracle_open.over_calcite(temperature_c, co2_atm)
    return _held(temperature_c, co2_atm, open_)


def magnesium_by_oracle(
    temperature_c: float, mg_mol_per_kg: float, co2_atm: float = AIR_ATM
) -> HardWater:
    """:func:`magnesium` by the solver of our own."""
    _check(temperature_c, co2_atm, mg_mol_per_kg)
    open_ = oracle_open.with_magnesium(temperature_c, mg_mol_per_kg, co2_atm)
    return _held(temperature_c, co2_atm, open_)


def _held(temperature_c: float, co2_atm: float, open_: oracle_open.Open) -> HardWater:
    return HardWater(
        temperature_c, co2_atm, open_.ph, open_.ca, open_.mg, open_.carbon, oracle.SOLVER
    )
