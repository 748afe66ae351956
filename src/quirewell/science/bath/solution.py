"""A calcium solution after its equilibrium has been computed."""

from __future__ import annotations

from dataclasses import dataclass

LOW_C = 0.0
HIGH_C = 40.0


class SpeciationError(ArithmeticError):
    """The equilibrium could not be computed; the message says what the solver said."""


@dataclass(frozen=True, slots=True)
class Solution:
    """Equilibrium of calcium hydroxide (and carbonate) in 1 kg of water.

    ``ph`` is -log10 of the hydrogen ion *activity*, the scale of pH buffers. Amounts are
    mol per kg of water: ``ca`` and ``co2`` are totals still dissolved, ``ca_free`` the
    Ca2+ ion, ``caoh`` the CaOH+ pair, ``calcite`` what fell out. ``solver`` names the program.
    """

    temperature_c: float
    ph: float
    ca_mol_per_kg: float
    ca_free_mol_per_kg: float
    caoh_mol_per_kg: float
    oh_mol_per_kg: float
    ionic_strength_mol_per_kg: float
    co2_mol_per_kg: float = 0.0
    calcite_mol_per_kg: float = 0.0
    solver: str = ""


def check_temperature(temperature_c: float) -> None:
    """Raise ValueError outside the tested range 0 to 40 C."""
    if not LOW_C <= temperature_c <= HIGH_C:
        raise ValueError(
            f"the bath's constants are tested from {LOW_C:g} to {HIGH_C:g} °C, "
            f"got {temperature_c:g} °C"
        )
