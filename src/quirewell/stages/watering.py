"""Wash water and hydrogen carbonate baths as a registered method: chalk or magnesium under gas.

Parameters are text: ``gas`` "air", "none" (kept from air) or a pressure of carbon dioxide [atm],
``mg_mol_per_kg`` for magnesium instead of chalk, ``temperature_c``, ``leaf``, ``pickup_g_per_g``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from quirewell.record.finding import Finding, Run, Standing
from quirewell.record.measured import Term
from quirewell.science.bath import engine
from quirewell.science.bath.carbonate import AIR_ATM, HardWater, magnesium, over_chalk
from quirewell.science.bath.constants import CONSTANTS, MOLAR_MASS_CA, MOLAR_MASS_CACO3
from quirewell.science.bath.lime_water import PickUp, pick_up
from quirewell.science.bath.recipe import Recipe
from quirewell.science.evidence.normal import Z90
from quirewell.stages.bathing import CHEAP_TOOL
from quirewell.stages.cautions import LOCAL_CODES, plain
from quirewell.stages.methods import Outcome, method

METHOD = "bath.water"
SOURCES = ("plummer1982", "parkhurst2013")
_KNOWN = {"gas", "mg_mol_per_kg", "temperature_c", "leaf", "pickup_g_per_g"}
CAUTIONS = ("ink-first", "blue-alkali", "wet-weak", "staples-out", "coated", "plain-water")
# A room with people in it (from memory); a pressure that was set, within a tenth; a thermometer.
ROOM_ATM = (400e-6, 1200e-6)
_SET, _U_C = 0.10, 0.5
# Chalk's solubility product within 0.02 of its logarithm: a third of it in pH (from memory).
_U_PH, _U_CHALK = 0.01, 0.015
_MG_RESTS = 0.01


@dataclass(frozen=True, slots=True)
class _Asked:
    temperature_c: float
    gas: float | None
    low: float | None
    high: float | None
    mg: float

    def water(self, temperature_c: float, gas: float | None) -> HardWater:
        if self.mg:
            return magnesium(temperature_c, self.mg, gas or AIR_ATM)
        return over_chalk(temperature_c, gas)


@method(METHOD, 1, "exact")
def bath_water(files: Mapping[str, Path], params: Mapping[str, str]) -> Outcome:
    """pH, calcium, magnesium and alkalinity of wash water over chalk or a hydrogen carbonate."""
    unknown = sorted(set(params) - _KNOWN)
    if unknown:
        raise ValueError(
            f"{METHOD} knows no parameter {unknown[0]!r}; it knows {', '.join(sorted(_KNOWN))}"
        )
    asked = _asked(params)
    pick = _pick(params, asked.temperature_c)
    water = asked.water(asked.temperature_c, asked.gas)
    note = f"database {engine.database_sha256()}; solver {water.solver}"
    return Outcome(
        (
            _ph(asked, note),
            *_amounts(asked, note),
            _reserve(asked, pick, note),
            Finding(
                "", "water.effect", "item", text=_effect(water), standing="published",
                sources=("burgess1990",),
            ),
            Finding(
                "", "water.database_sha256", "item", text=engine.database_sha256(),
                standing="published", sources=("parkhurst2013", "minteqa2"),
            ),
        ),
        _warnings(asked, water, pick),
    )  # fmt: skip


def _asked(params: Mapping[str, str]) -> _Asked:
    temperature_c = _number(params, "temperature_c", 20.0)
    Recipe(1.0, temperature_c)
    mg = _number(params, "mg_mol_per_kg", 0.0)
    text = params.get("gas", "") or "air"
    if text == "none":
        if mg:
            raise ValueError("magnesium hydrogen carbonate needs its gas: give air or a pressure")
        return _Asked(temperature_c, None, None, None, mg)
    if text == "air":
        return _Asked(temperature_c, AIR_ATM, *ROOM_ATM, mg)
    gas = _number(params, "gas", AIR_ATM)
    if not 1e-5 <= gas <= 1:
        raise ValueError(
            f"carbon dioxide has a pressure of 0.00001 to 1 atm here (air 0.00042), got {gas:g}; "
            "was it typed in ppm or bar gauge?"
        )
    # A pressure's own tenth, never above what an open vessel can hold.
    factor = math.exp(Z90 * _SET)
    return _Asked(temperature_c, gas, max(gas / factor, 1e-5), min(gas * factor, 1.0), mg)


def _number(params: Mapping[str, str], name: str, usual: float) -> float:
    text = params.get(name, "")
    try:
        return float(text) if text else usual
    except ValueError as error:
        raise ValueError(f"{name} must be a number, got {text[:40]!r}") from error


def _pick(params: Mapping[str, str], temperature_c: float) -> PickUp:
    leaf: Literal["blotted", "drained"] = "drained"
    if params.get("leaf") == "blotted":
        leaf = "blotted"
    weighed = _number(params, "pickup_g_per_g", 0.0) or None
    return pick_up(Recipe(1.0, temperature_c, 4.0, leaf, weighed))


def _spread(
    asked: _Asked, read: Callable[[HardWater], float], own: float
) -> tuple[float, float, float, tuple[Term, ...]]:
    """Value, 90 % ends and terms of what is read of the water; ``own`` is the constants' u."""
    t = asked.temperature_c
    value = read(asked.water(t, asked.gas))
    cold, warm = max(t - 1, 0.0), min(t + 1, 40.0)
    slope = (read(asked.water(warm, asked.gas)) - read(asked.water(cold, asked.gas))) / (
        warm - cold
    )
    ends = sorted(read(asked.water(t, gas)) for gas in (asked.low, asked.high))
    rest = math.hypot(own, slope * _U_C)
    low = value - math.hypot(max(value - ends[0], 0.0), Z90 * rest)
    high = value + math.hypot(max(ends[1] - value, 0.0), Z90 * rest)
    terms = (
        Term("carbon dioxide", (ends[1] - ends[0]) / (2 * Z90), _gas_basis(asked)),
        Term("temperature", abs(slope) * _U_C, f"thermometer, {_U_C:g} °C"),
        Term("constants", own, "solubility of chalk, from memory"),
    )
    return value, low, high, terms


def _gas_basis(asked: _Asked) -> str:
    if asked.low is None or asked.high is None:
        return "kept from air"
    return f"{asked.low:.2g} to {asked.high:.2g} atm"


def _found(
    quantity: str, unit: str, spread: tuple[float, float, float, tuple[Term, ...]], note: str,
    standing: Standing = "published",
) -> Finding:  # fmt: skip
    value, low, high, terms = spread
    return Finding(
        "", quantity, "item", value, (high - low) / (2 * Z90), unit, low90=low, high90=high,
        terms=terms, standing=standing, sources=SOURCES, note=note,
    )  # fmt: skip


def _ph(asked: _Asked, note: str) -> Finding:
    return _found("water.pH", "pH", _spread(asked, lambda water: water.ph, _U_PH), note)


def _amounts(asked: _Asked, note: str) -> list[Finding]:
    water = asked.water(asked.temperature_c, asked.gas)
    own = _SET / 2 if asked.mg else _U_CHALK
    reads: tuple[tuple[str, str, Callable[[HardWater], float]], ...] = (
        ("water.ca_mol_per_kg", "mol/kg", lambda one: one.ca_mol_per_kg),
        ("water.mg_mol_per_kg", "mol/kg", lambda one: one.mg_mol_per_kg),
        ("water.caco3_mg_per_kg", "mg/kg", lambda one: one.caco3_mg_per_kg),
        ("water.alkalinity_mol_per_kg", "mol/kg", lambda one: one.alkalinity_mol_per_kg),
    )
    return [
        _found(name, unit, _spread(asked, read, own * read(water)), note)
        for name, unit, read in reads
        if read(water) > 0
    ]


def _reserve(asked: _Asked, pick: PickUp, note: str) -> Finding:
    factor = pick.median_g_per_g * MOLAR_MASS_CACO3 / 20
    own = _SET / 2 if asked.mg else _U_CHALK
    alkali = asked.water(asked.temperature_c, asked.gas).alkalinity_mol_per_kg
    value, low, high, terms = _spread(
        asked, lambda one: factor * one.alkalinity_mol_per_kg, own * factor * alkali
    )
    down, up = (abs(math.log(max(end, 1e-9) / value)) for end in (low, high))
    sigma = Z90 * pick.log_sigma
    band = (
        value, value * math.exp(-math.hypot(down, sigma)), value * math.exp(math.hypot(up, sigma)),
        (*terms, Term("pick-up", value * pick.log_sigma, f"{pick.kind} leaf")),
    )  # fmt: skip
    standing: Standing = "measured here" if pick.kind == "weighed" else "from memory"
    says = f"as if all dried to chalk; {pick.kind}, {pick.median_g_per_g:g} g/g; {note}"
    return _found("water.reserve_pct_caco3", "% CaCO3", band, says, standing)


def _effect(water: HardWater) -> str:
    limit = CONSTANTS["neutral_wash_ppm"].value
    # The published limit is for calcium or magnesium, as mg/kg of the metal.
    ppm = 1000 * (water.ca_mol_per_kg * MOLAR_MASS_CA + water.mg_mol_per_kg * 24.305)
    does = "it washes, it does not deacidify" if ppm < limit else "it deacidifies"
    side = "under" if ppm < limit else "over"
    return f"{side} {limit:g} mg/kg of calcium or magnesium: {does}"


def _warnings(asked: _Asked, water: HardWater, pick: PickUp) -> tuple[str, ...]:
    out = [row["says"] for row in plain(CAUTIONS)]
    if asked.mg:
        out.append("Magnesium hydrogen carbonate takes sizing out and can swell coatings.")
    if asked.mg > _MG_RESTS and asked.gas is not None and asked.gas < 0.01:
        out.append(
            f"{asked.mg:g} mol/kg of magnesium does not stay dissolved in open air: it clouds "
            "within hours. Keep it under gas, or thin it to 0.01."
        )
    if asked.gas is None:
        out.append("Out of its bottle this water takes up air and falls towards pH 8.2.")
    elif asked.gas > 0.01:
        out.append(
            "It holds so much only under its gas: in an open tray the gas leaves, the pH rises "
            "towards 8 and chalk falls out, on the paper too. Make it up just before use."
        )
    else:
        out.append(
            "Water reaches this over chalk only after hours of stirring; without chalk it holds "
            "next to nothing."
        )
    out.append(LOCAL_CODES)
    if pick.kind != "weighed":
        out.append(CHEAP_TOOL)
    return tuple(out)


def as_json(run: Run) -> dict[str, Any]:
    """Wash water as the command line's JSON."""
    numbers = {
        one.quantity.removeprefix("water."): one.measured().as_json()
        for one in run.findings
        if one.value is not None
    }
    texts = {
        one.quantity.removeprefix("water."): one.text for one in run.findings if one.value is None
    }
    return {
        **numbers,
        **texts,
        "warnings": list(run.warnings),
        "params": dict(run.params),
        "method": f"{run.method}@{run.version}",
    }
