"""Constants of the lime-water bath: value, unit, low, high, source key, standing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Standing = Literal["published", "measured here", "common practice", "from memory"]


@dataclass(frozen=True, slots=True)
class Constant:
    """One row: ``low`` and ``high`` bound 90 % of what the source saw (or says)."""

    value: float
    unit: str
    low: float
    high: float
    source: str
    standing: Standing
    says: str


@dataclass(frozen=True, slots=True)
class Reaction:
    """log10 K at 25 C and its enthalpy, as block A gives them to the engine."""

    log_k25: float
    delta_h_j_per_mol: float
    source: str


BLOCK_A: Mapping[str, Reaction] = {
    "CaOH+": Reaction(-12.697, 64_110.0, "nist46"),
    "Portlandite": Reaction(22.804, -128_620.0, "nist46"),
    "Brucite": Reaction(16.844, -113_996.0, "nist46"),
}

MOLAR_MASS_CAOH2 = 74.093
MOLAR_MASS_CACO3 = 100.087
MOLAR_MASS_CA = 40.078

CONSTANTS: Mapping[str, Constant] = {
    "solubility_scatter": Constant(
        0.0, "fraction", -0.06, 0.06, "bates1956", "published",
        "published solubilities of Ca(OH)2 differ by so much (air, crystal size, age)",
    ),
    "pickup_blotted": Constant(
        1.33, "g/g", 0.92, 1.94, "sugarman1992", "published",
        "water held by seven papers after 2 h in water, drips blotted off",
    ),
    "pickup_drained": Constant(
        1.94, "g/g", 1.5, 2.5, "", "from memory",
        "water held by newsprint lifted out and drained, not blotted",
    ),
    "permanent_reserve_pct": Constant(
        2.0, "% CaCO3", 2.0, 2.0, "iso9706", "published",
        "alkali reserve asked of permanent paper (0.4 mol acid/kg)",
    ),
    "neutral_wash_ppm": Constant(
        50.0, "mg/kg Ca", 50.0, 50.0, "burgess1990", "published",
        "below this much calcium a bath washes; above it, it deacidifies",
    ),
    "acid_groups": Constant(
        0.10, "mol/kg", 0.08, 0.15, "", "from memory",
        "acid groups of mechanical pulp and aged newsprint, which bind calcium",
    ),
    "strong_acid": Constant(
        0.02, "mol/kg", 0.01, 0.05, "", "from memory",
        "acid of alum in newsprint, which uses alkali up",
    ),
    "air_uptake": Constant(
        0.022, "mol CO2/m2/h", 0.011, 0.044, "", "from memory",
        "carbon dioxide an open, still lime bath takes from room air",
    ),
}  # fmt: skip


def water_density_kg_per_l(temperature_c: float) -> float:
    """Density of air-free water at 1 atm [kg/L], 0 to 100 C (``kell1975``).

    >>> round(water_density_kg_per_l(25.0), 4)
    0.997
    """
    t = temperature_c
    top = (
        999.83952 + 16.945176 * t - 7.9870401e-3 * t**2 - 46.170461e-6 * t**3
        + 105.56302e-9 * t**4 - 280.54253e-12 * t**5
    )  # fmt: skip
    return top / (1 + 16.879850e-3 * t) / 1000


def caco3_pct_to_mol_acid_per_kg(pct: float) -> float:
    """Alkali reserve in mol acid per kg from per cent of CaCO3 (two H+ per carbonate).

    >>> round(caco3_pct_to_mol_acid_per_kg(2.0), 5)
    0.39965
    """
    return 2 * pct * 10 / MOLAR_MASS_CACO3


def pickup_from_solids(solids_pct: float) -> float:
    """Water held per gram of dry paper [g/g] from the per cent of solids of the wet paper.

    Raises
    ------
    ValueError
        When the per cent does not lie between 0 and 100.

    >>> round(pickup_from_solids(43.0), 2)
    1.33
    """
    if not 0 < solids_pct <= 100:
        raise ValueError(f"per cent of solids lies between 0 and 100, got {solids_pct:g}")
    return 100 / solids_pct - 1
