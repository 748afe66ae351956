"""Alkali reserve of paper from a back-titration, and several estimates brought into one.

A weighed sample is digested in a known amount of hydrochloric acid and what is left of the acid
is titrated with sodium hydroxide (``iso10716``, the principle of ``tappi553``):

    reserve [mol acid/kg] = (V_HCl c_HCl - V_NaOH c_NaOH) / m_dry      mL, mol/L, g
    reserve [% CaCO3]     = reserve * M(CaCO3) / 20                    if all of it is carbonate

The test uses its sample up: scraps and like paper only, never the object.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from quirewell.science.bath.constants import MOLAR_MASS_CACO3
from quirewell.science.evidence.uncertainty import Budget, BudgetTerm
from quirewell.science.limits import within

PCT_PER_MOL = MOLAR_MASS_CACO3 / 20
# Usual standard uncertainties where none is stated (common practice, no source).
U_VOLUME_ML = 0.05
U_STRENGTH = 0.005
U_MASS_G = 0.005
U_WATER = 0.02
AIR_DRY_WATER = 0.06
APART = 2.5


@dataclass(frozen=True, slots=True)
class BackTitration:
    """One back-titration: volumes [mL], strengths [mol/L], mass of the sample [g].

    ``water_g_per_g``: water in the sample as weighed [g per g]; 0 for oven-dry paper. The ``u_``
    fields are standard uncertainties in the same units, ``u_strength`` relative [-].
    """

    hcl_ml: float
    hcl_mol_per_l: float
    naoh_ml: float
    naoh_mol_per_l: float
    mass_g: float
    water_g_per_g: float = AIR_DRY_WATER
    u_volume_ml: float = U_VOLUME_ML
    u_strength: float = U_STRENGTH
    u_mass_g: float = U_MASS_G

    def __post_init__(self) -> None:
        problems = [text for text in self._problems() if text]
        if problems:
            raise ValueError(" ".join(problems))

    def _problems(self) -> tuple[str, ...]:
        return (
            within("volume of acid", self.hcl_ml, 0.1, 500, "mL"),
            within("strength of the acid", self.hcl_mol_per_l, 1e-3, 2, "mol/L"),
            within("volume of alkali", self.naoh_ml, 0, 500, "mL"),
            within("strength of the alkali", self.naoh_mol_per_l, 1e-3, 2, "mol/L"),
            within("mass of the sample", self.mass_g, 0.01, 100, "g"),
            within("water in the sample", self.water_g_per_g, 0, 0.3, "g/g"),
            within("uncertainty of a volume", self.u_volume_ml, 1e-3, 5, "mL"),
            within("uncertainty of a strength", self.u_strength, 1e-4, 0.2, "(relative)"),
            within("uncertainty of the mass", self.u_mass_g, 1e-5, 5, "g"),
        )


@dataclass(frozen=True, slots=True)
class ReserveEstimate:
    """One estimate of a reserve [mol acid/kg] with standard uncertainty, and where it is from."""

    name: str
    mol_per_kg: float
    u: float
    terms: tuple[BudgetTerm, ...] = ()

    @property
    def pct_caco3(self) -> float:
        """The same as calcium carbonate [% by mass]."""
        return PCT_PER_MOL * self.mol_per_kg


@dataclass(frozen=True, slots=True)
class OneReserve:
    """Several estimates as one: weighted mean, widened where they scatter more than they say.

    ``apart``: pairs that contradict each other (names, and how many u they lie apart).
    """

    mol_per_kg: float
    u: float
    widened: float
    apart: tuple[tuple[str, str, float], ...]


def back_titration(titre: BackTitration) -> ReserveEstimate:
    """Alkali reserve of a sample [mol acid/kg dry], negative where the paper is acid.

    >>> one = BackTitration(20.0, 0.1, 12.0, 0.1, 1.0, water_g_per_g=0.0)
    >>> round(back_titration(one).mol_per_kg, 4), round(back_titration(one).pct_caco3, 2)
    (0.8, 4.0)
    """
    dry = titre.mass_g / (1 + titre.water_g_per_g)
    acid, alkali = titre.hcl_ml * titre.hcl_mol_per_l, titre.naoh_ml * titre.naoh_mol_per_l
    value = (acid - alkali) / dry
    wet = U_WATER if titre.water_g_per_g else 0.0
    terms = (
        BudgetTerm("acid volume", titre.hcl_mol_per_l * titre.u_volume_ml / dry),
        BudgetTerm("alkali volume", titre.naoh_mol_per_l * titre.u_volume_ml / dry),
        BudgetTerm("acid strength", acid * titre.u_strength / dry),
        BudgetTerm("alkali strength", alkali * titre.u_strength / dry),
        BudgetTerm("mass", abs(value) * titre.u_mass_g / titre.mass_g),
        BudgetTerm("water in the sample", abs(value) * wet, basis="from memory, 0.02 g/g"),
    )
    return ReserveEstimate("back-titration", value, Budget(terms).u, terms)


def from_bath_titres(
    first_mol_per_kg: float, last_mol_per_kg: float, u_titre: float, bath_kg: float,
    paper_dry_kg: float, carbonate_mol: float = 0.0, u_carbonate_mol: float = 0.0,
) -> ReserveEstimate:  # fmt: skip
    """Alkali that paper took out of a bath [mol acid/kg], at most: what the bath lost.

    ``first``, ``last``: alkalinity before and after [mol OH-equivalents/kg water], each with
    standard uncertainty ``u_titre``; ``carbonate_mol``: equivalents lost to the air. Calcium bound
    to the fibres and acids met are in it, so it is an upper bound to the reserve.

    Raises:
        ValueError: when a mass is not positive or alkalinity grew by more than 3 u.
    """
    if not (bath_kg > 0 and paper_dry_kg > 0):
        raise ValueError("the bath and the paper need a mass above 0 kg")
    lost = (first_mol_per_kg - last_mol_per_kg) * bath_kg - carbonate_mol
    u_lost = math.hypot(math.sqrt(2) * u_titre * bath_kg, u_carbonate_mol)
    if lost < -3 * u_lost:
        raise ValueError(
            f"the bath holds {-lost:.3g} mol more alkali after the leaves than before: were the "
            "two titres swapped, or was the bath topped up?"
        )
    terms = (
        BudgetTerm("titres", math.sqrt(2) * u_titre * bath_kg / paper_dry_kg),
        BudgetTerm("air", u_carbonate_mol / paper_dry_kg),
    )
    return ReserveEstimate("bath titres", lost / paper_dry_kg, Budget(terms).u, terms)


def as_one(estimates: Sequence[ReserveEstimate]) -> OneReserve:
    """Estimates as one by inverse variance; u widened by their scatter (``birge1932``).

    Raises:
        ValueError: with none.
    """
    if not estimates:
        raise ValueError("there is no estimate of the reserve to bring together")
    weights = [1 / one.u**2 for one in estimates]
    total = sum(weights)
    mean = sum(w * one.mol_per_kg for w, one in zip(weights, estimates, strict=True)) / total
    spread = sum(
        w * (one.mol_per_kg - mean) ** 2 for w, one in zip(weights, estimates, strict=True)
    )
    widened = math.sqrt(max(1.0, spread / max(1, len(estimates) - 1)))
    apart = tuple(
        (one.name, other.name, abs(one.mol_per_kg - other.mol_per_kg) / math.hypot(one.u, other.u))
        for one, other in combinations(estimates, 2)
    )
    return OneReserve(
        mean, widened / math.sqrt(total), widened, tuple(row for row in apart if row[2] > APART)
    )
