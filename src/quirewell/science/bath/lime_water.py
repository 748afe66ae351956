"""A lime-water bath as mixed: what it holds, its pH, and the reserve it leaves in a leaf.

The bath is saturated lime water at its temperature, or a stated fraction of it. A leaf lifted
out carries bath away with it; what is dissolved in that water becomes calcium carbonate as it
dries (drag-out):

    reserve [% CaCO3] = pick-up [g/g] * Ca(OH)2 [mol/kg] * M(CaCO3) [g/mol] / 10

Not modelled here: carbon dioxide taken from the air, acids of earlier leaves, supersaturation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quirewell.science.bath import engine
from quirewell.science.bath.constants import (
    CONSTANTS,
    MOLAR_MASS_CA,
    MOLAR_MASS_CACO3,
    MOLAR_MASS_CAOH2,
    water_density_kg_per_l,
)
from quirewell.science.bath.recipe import Recipe
from quirewell.science.bath.solution import HIGH_C, LOW_C, Solution
from quirewell.science.evidence.normal import Z90
from quirewell.science.evidence.uncertainty import Budget, BudgetTerm

MODEL_U_PH = 0.015
DILUTION_BIAS_PH = 0.018
SCALE_U_PICKUP = 0.10


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with standard uncertainty ``u``, its 90 % band and its budget, in ``unit``."""

    value: float
    u: float
    unit: str
    low90: float
    high90: float
    terms: tuple[BudgetTerm, ...]

    def scaled(self, factor: float, unit: str, extra: BudgetTerm | None = None) -> Estimate:
        """The estimate in another unit, with one more *relative* term if given."""
        terms = tuple(BudgetTerm(t.name, t.u * factor, t.dof, t.basis) for t in self.terms)
        value = self.value * factor
        if extra is not None:
            terms += (BudgetTerm(extra.name, extra.u * value, extra.dof, extra.basis),)
        return _symmetric(value, unit, terms)


@dataclass(frozen=True, slots=True)
class LimeWater:
    """A bath: composition with uncertainties, and what one leaf takes from it."""

    recipe: Recipe
    solution: Solution
    ph: Estimate
    ca_mol_per_kg: Estimate
    caoh2_g_per_kg: Estimate
    caoh2_g: Estimate
    ca_ppm: Estimate
    reserve_pct_caco3: Estimate
    reserve_mol_acid_per_kg: Estimate
    reserve_saturated_pct: float
    saturated_litres: float
    database_sha256: str


@dataclass(frozen=True, slots=True)
class PickUp:
    """Bath carried by a leaf [g per g dry paper]: median and the sigma of its logarithm."""

    median_g_per_g: float
    log_sigma: float
    kind: Literal["blotted", "drained", "weighed"]
    source: str


def mix(recipe: Recipe) -> LimeWater:
    """Composition, pH and expected reserve of a lime-water bath.

    Parameters
    ----------
    recipe : Recipe
        Strength (1 = saturated) [-], temperature [C], volume [L], pick-up [g/g].

    Returns
    -------
    LimeWater
        Estimates with 90 % bands. Amounts are per kg of water.

    Raises
    ------
    SpeciationError
        When the equilibrium could not be computed cleanly.

    Notes
    -----
    Validity 0 to 40 C, 0.01 to 1 of saturation, freshly mixed, no air. Constants ``nist46``
    through ``minteqa2``; checked against ``bates1956`` and ``hj1147``.

    >>> bath = mix(Recipe(strength=1.0, temperature_c=25.0))
    >>> round(bath.ph.value, 2), round(bath.caoh2_g_per_kg.value, 2)
    (12.47, 1.56)
    """
    t = recipe.temperature_c
    saturated = engine.saturate(t)
    ca = saturated.ca_mol_per_kg * recipe.strength
    solution = saturated if recipe.strength == 1 else engine.speciate(ca, t)
    amount = _amount(recipe, ca)
    kg_water = recipe.litres * water_density_kg_per_l(t)
    litres_term = BudgetTerm("litres", 0.02, basis="measuring jug, 2 %")
    reserve = _reserve(amount, pick_up(recipe))
    return LimeWater(
        recipe,
        solution,
        _ph(recipe, solution, ca, amount),
        amount,
        amount.scaled(MOLAR_MASS_CAOH2, "g/kg"),
        amount.scaled(MOLAR_MASS_CAOH2 * kg_water, "g", litres_term),
        amount.scaled(MOLAR_MASS_CA * 1000, "mg/kg"),
        reserve,
        _log_normal_scaled(reserve, 20 / MOLAR_MASS_CACO3, "mol/kg"),
        reserve.value / recipe.strength,
        recipe.litres * recipe.strength,
        engine.database_sha256(),
    )


def pick_up(recipe: Recipe) -> PickUp:
    """How much bath a leaf carries out, from the recipe or from the tables.

    Blotted: ``sugarman1992``, 1.33 (0.92 to 1.94) g/g. Drained: from memory, 1.5 to 2.5 g/g.
    A pick-up weighed by the user counts with 10 % from leaf to leaf unless stated.
    """
    if recipe.pickup_g_per_g is not None:
        u = recipe.pickup_u_g_per_g
        relative = SCALE_U_PICKUP if u is None else u / recipe.pickup_g_per_g
        return PickUp(recipe.pickup_g_per_g, relative, "weighed", "")
    row = CONSTANTS[f"pickup_{recipe.leaf}"]
    sigma = math.log(row.high / row.low) / (2 * Z90)
    return PickUp(row.value, sigma, recipe.leaf, row.source)


def _amount(recipe: Recipe, ca: float) -> Estimate:
    row = CONSTANTS["solubility_scatter"]
    scatter = (row.high - row.low) / (2 * Z90)
    slope = _saturation_slope(recipe.temperature_c)
    terms = [
        BudgetTerm("solubility", scatter * ca, basis="published solubilities differ by 6 %"),
        BudgetTerm(
            "temperature",
            abs(slope) * recipe.strength * recipe.temperature_u_c,
            basis=f"thermometer, {recipe.temperature_u_c:g} °C",
        ),
    ]
    if recipe.strength < 1:
        terms.append(BudgetTerm("dilution", 0.03 * ca, basis="two measured volumes, 3 %"))
    return _symmetric(ca, "mol/kg", tuple(terms))


def _near(temperature_c: float, step_c: float) -> float:
    return min(HIGH_C, max(LOW_C, temperature_c + step_c))


def _saturation_slope(temperature_c: float) -> float:
    low, high = _near(temperature_c, -1), _near(temperature_c, 1)
    change = engine.saturate(high).ca_mol_per_kg - engine.saturate(low).ca_mol_per_kg
    return change / (high - low)


def _ph(recipe: Recipe, solution: Solution, ca: float, amount: Estimate) -> Estimate:
    t = recipe.temperature_c
    step = 0.02
    per_relative = (
        engine.speciate(ca * (1 + step), t).ph - engine.speciate(ca * (1 - step), t).ph
    ) / (2 * step)
    low, high = _near(t, -1), _near(t, 1)
    per_c = (engine.speciate(ca, high).ph - engine.speciate(ca, low).ph) / (high - low)
    terms = []
    for term in amount.terms:
        if term.name != "temperature":
            basis = term.basis
            terms.append(BudgetTerm(term.name, abs(per_relative) * term.u / ca, basis=basis))
    slope = _saturation_slope(t) * recipe.strength
    whole = abs(per_c + per_relative * slope / ca) * recipe.temperature_u_c
    terms.append(
        BudgetTerm("temperature", whole, basis=f"thermometer, {recipe.temperature_u_c:g} °C")
    )
    terms.append(
        BudgetTerm("model", _model_u(recipe), basis="model against the published pH standard")
    )
    return _symmetric(solution.ph, "pH", tuple(terms))


def _model_u(recipe: Recipe) -> float:
    """Standard uncertainty of the model [pH]: its distance from ``bates1956``.

    0.015 at saturation; a dilution of 1+1 falls by 0.262 here and by 0.28 there, so a diluted
    bath counts up to 0.018 more.
    """
    halvings = min(1.0, math.log2(1 / recipe.strength))
    return math.hypot(MODEL_U_PH, DILUTION_BIAS_PH * halvings)


def _symmetric(value: float, unit: str, terms: tuple[BudgetTerm, ...]) -> Estimate:
    u = Budget(terms).u
    return Estimate(value, u, unit, value - Z90 * u, value + Z90 * u, terms)


def _reserve(amount: Estimate, pick: PickUp) -> Estimate:
    """Log-normal product of pick-up and concentration; ``value`` is the median."""
    median = pick.median_g_per_g * amount.value * MOLAR_MASS_CACO3 / 10
    bath = amount.u / amount.value
    terms = (
        BudgetTerm("pick-up", pick.log_sigma * median, basis=_pickup_basis(pick)),
        BudgetTerm("bath", bath * median, basis="concentration of the bath"),
    )
    return _log_normal(median, math.hypot(pick.log_sigma, bath), "% CaCO3", terms)


def _pickup_basis(pick: PickUp) -> str:
    if pick.kind == "weighed":
        return f"one leaf weighed dry and wet, {100 * pick.log_sigma:.0f} %"
    where = "seven papers, published" if pick.source else "newsprint, from memory"
    return f"{pick.kind} leaf, {where}"


def _log_normal(median: float, sigma: float, unit: str, terms: tuple[BudgetTerm, ...]) -> Estimate:
    u = median * math.exp(sigma**2 / 2) * math.sqrt(math.expm1(sigma**2))
    spread = math.exp(Z90 * sigma)
    return Estimate(median, u, unit, median / spread, median * spread, terms)


def _log_normal_scaled(estimate: Estimate, factor: float, unit: str) -> Estimate:
    terms = tuple(BudgetTerm(t.name, t.u * factor, t.dof, t.basis) for t in estimate.terms)
    return Estimate(
        estimate.value * factor, estimate.u * factor, unit,
        estimate.low90 * factor, estimate.high90 * factor, terms,
    )  # fmt: skip
