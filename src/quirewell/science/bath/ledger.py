"""A bath over a series of wraps: what each takes, what the air takes, and when to change it.

Conservation of mass is ours, the engine only speciates. One wrap of dry mass m [kg]:

1. it comes in wet with w0 m of water (or dry, and takes up water), which dilutes;
2. its acid groups exchange: COOH m / 2 of Ca(OH)2 leaves the solution, calcium and alkali, as long
   as there is alkali to be had;
3. its strong acid (alum) uses alkali up; the calcium stays, as sulfate;
4. it is lifted out with w m of solution: what is dissolved in it becomes the reserve,

    reserve [mol acid/kg] = w * alkalinity [mol/kg]        reserve [% CaCO3] = 5.004 * that

5. air adds carbon dioxide while the tray is open; calcite falls out and stays in the tray. The gas
   goes through a film of still air and one of liquid that free hydroxide shortens: the flux falls
   as the bath is used up (:func:`uptake`). It is booked after the wrap that lay in the tray.

Calcium bound to the fibres is no reserve and is not counted as one; nor is calcite in the tray.
Calcite falls out at equilibrium; real baths cloud later, which leaves more in the leaf.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from quirewell.science.bath import engine
from quirewell.science.bath.constants import MOLAR_MASS_CACO3, water_density_kg_per_l
from quirewell.science.bath.recipe import HIGH_L, LOW_L
from quirewell.science.limits import within

MOST_ENTRIES = 2000
# Film of still air, and of liquid (as if of air) at this much hydroxide; from memory.
_GAS_M_S, _LIQUID_M_S, _OH_REF = 1.5e-3, 4.5e-4, 0.02
_AIR_STEP_MIN = 30.0
Kind = Literal["wrap", "top-up", "fresh"]


@dataclass(frozen=True, slots=True)
class Paper:
    """What the paper does to a bath: ``pickup`` [kg/kg] lifted out, ``acid_groups`` and
    ``strong_acid`` [mol H+/kg dry]."""

    pickup: float = 1.94
    acid_groups: float = 0.10
    strong_acid: float = 0.02


@dataclass(frozen=True, slots=True)
class Tray:
    """A bath as made up: litres, strength (1 = saturated), temperature [C], area open to air
    [m2], and carbon dioxide the air gives an open tray [mol/m2/h]."""

    litres: float = 4.0
    strength: float = 0.5
    temperature_c: float = 20.0
    area_m2: float = 0.2
    uptake_mol_m2_h: float = 0.022


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger.

    A "wrap" (or several at once: their mass together): dry ``mass_g``, ``water_in`` [g/g] it
    brings, ``minutes`` in the bath, tray ``open_air`` or covered. A "top-up": ``litres`` at
    ``strength``. A "fresh" bath: the tray emptied and made up as at first.
    """

    kind: Kind = "wrap"
    mass_g: float = 4.7
    water_in: float = 1.8
    minutes: float = 15.0
    open_air: bool = False
    litres: float = 0.0
    strength: float = 0.0


@dataclass(frozen=True, slots=True)
class Stock:
    """What is in the tray: water [kg]; calcium, strong acid, carbon dioxide dissolved [mol];
    calcite on its floor [mol]; and once it has settled its pH and free hydroxide [mol/kg]."""

    water_kg: float
    ca: float
    acid: float = 0.0
    co2: float = 0.0
    solid: float = 0.0
    ph: float = math.nan
    oh: float = 0.0

    @property
    def alkali(self) -> float:
        """Dissolved alkali [mol OH-equivalents]: charges of calcium less those of the acid."""
        return 2 * self.ca - self.acid


@dataclass(frozen=True, slots=True)
class Row:
    """The bath as a wrap leaves it, and what that wrap carries away."""

    number: int
    ph: float
    alkalinity_mol_per_kg: float
    ca_mol_per_kg: float
    carbonate_mol: float
    reserve_mol_per_kg: float
    water_kg: float
    batch: int

    @property
    def reserve_pct_caco3(self) -> float:
        """Reserve as calcium carbonate [% of dry mass]."""
        return self.reserve_mol_per_kg * MOLAR_MASS_CACO3 / 20


@dataclass(frozen=True, slots=True)
class Ledger:
    """Rows of the wraps in order; ``balance_error_mol`` is the most that any inventory misses."""

    rows: tuple[Row, ...]
    fresh: Row
    balance_error_mol: float


@dataclass(slots=True)
class _Account:
    """What ever went in and out, by substance [kg water, mol]."""

    put_in: dict[str, float] = field(default_factory=dict)
    taken: dict[str, float] = field(default_factory=dict)

    def book(self, side: dict[str, float], **amounts: float) -> None:
        for name, amount in amounts.items():
            side[name] = side.get(name, 0.0) + amount


def check(tray: Tray, paper: Paper, entries: Sequence[Entry]) -> None:
    """Raise ValueError, all problems in one message, for a ledger that cannot be."""
    problems = [
        within("the bath", tray.litres, LOW_L, HIGH_L, "L"),
        within("its strength", tray.strength, 0.001, 1.0, "of saturation"),
        within("its temperature", tray.temperature_c, 0, 40, "°C"),
        within("the tray's area", tray.area_m2, 0.001, 5, "m2"),
        within("uptake from the air", tray.uptake_mol_m2_h, 0, 1, "mol/m2/h"),
        within("pick-up", paper.pickup, 0.2, 6, "g/g"),
        within("acid groups of the paper", paper.acid_groups, 0, 1, "mol/kg"),
        within("strong acid of the paper", paper.strong_acid, 0, 1, "mol/kg"),
    ]
    if not 1 <= len(entries) <= MOST_ENTRIES:
        problems.append(f"a ledger has 1 to {MOST_ENTRIES} entries, got {len(entries)}.")
    for number, entry in enumerate(entries[:MOST_ENTRIES], 1):
        if entry.kind == "wrap":
            problems += [
                within(f"mass of wrap {number}", entry.mass_g, 0.05, 500, "g"),
                within(f"water brought by wrap {number}", entry.water_in, 0, 6, "g/g"),
                within(f"minutes of wrap {number}", entry.minutes, 0, 24 * 60, "min"),
            ]
        elif entry.kind == "top-up":
            problems += [
                within(f"top-up, entry {number}", entry.litres, 0.001, HIGH_L, "L"),
                within(f"its strength, entry {number}", entry.strength, 0, 1, "of saturation"),
            ]
    said = [text for text in problems if text]
    if said:
        raise ValueError(" ".join(said[:8]))


def run(tray: Tray, paper: Paper, entries: Sequence[Entry]) -> Ledger:
    """Work the entries through, one after another.

    Raises
    ------
    ValueError
        For a tray, paper or entry out of range, or a bath lifted out to its last drop.
    SpeciationError
        When the equilibrium could not be computed cleanly.
    """
    check(tray, paper, entries)
    account = _Account()
    stock = _made_up(tray, account)
    fresh = _row(0, paper, stock, 1)
    rows: list[Row] = []
    batch, worst = 1, 0.0
    for entry in entries:
        if entry.kind == "fresh":
            worst = max(worst, _emptied(stock, account))
            account, batch = _Account(), batch + 1
            stock = _made_up(tray, account)
        elif entry.kind == "top-up":
            stock = _topped_up(tray, entry, stock, account)
        else:
            stock = _exchanged(tray, paper, entry, stock, account)
            rows.append(_row(len(rows) + 1, paper, stock, batch))
            stock = _lifted_out(paper, entry, stock, account)
            if entry.open_air:
                stock = _aired(tray, entry.minutes, stock, account)
        worst = max(worst, _misses(stock, account))
    return Ledger(tuple(rows), fresh, worst)


def uptake(fresh_mol_m2_h: float, oh_mol_per_kg: float) -> float:
    """Carbon dioxide an open, still bath takes up [mol/m2/h] when its hydroxide has fallen.

    Two films in series: still air (1.5 mm/s) and liquid, whose speed goes with the root of
    hydroxide; ``fresh_mol_m2_h`` is the flux at 0.02 mol/kg. From memory, within a factor of two.

    >>> round(uptake(0.022, 0.02), 4), round(uptake(0.022, 0.002), 4)
    (0.022, 0.0083)
    """
    return float(two_films(fresh_mol_m2_h, oh_mol_per_kg))


def two_films(fresh: Any, oh_mol_per_kg: Any) -> Any:
    """:func:`uptake` for numbers or arrays."""
    liquid = np.maximum(_LIQUID_M_S * np.sqrt(np.maximum(oh_mol_per_kg, 0.0) / _OH_REF), 1e-12)
    return fresh * (1 / _GAS_M_S + 1 / _LIQUID_M_S) / (1 / _GAS_M_S + 1 / liquid)


def _made_up(tray: Tray, account: _Account) -> Stock:
    water = tray.litres * water_density_kg_per_l(tray.temperature_c)
    ca = water * tray.strength * engine.saturate(tray.temperature_c).ca_mol_per_kg
    account.book(account.put_in, water=water, ca=ca)
    return _settled(Stock(water, ca), tray)


def _topped_up(tray: Tray, entry: Entry, stock: Stock, account: _Account) -> Stock:
    water = entry.litres * water_density_kg_per_l(tray.temperature_c)
    ca = water * entry.strength * engine.saturate(tray.temperature_c).ca_mol_per_kg
    account.book(account.put_in, water=water, ca=ca)
    return _settled(
        Stock(stock.water_kg + water, stock.ca + ca, stock.acid, stock.co2, stock.solid), tray
    )


def _exchanged(tray: Tray, paper: Paper, entry: Entry, stock: Stock, account: _Account) -> Stock:
    """Steps 1 to 3: water brought in, exchange, strong acid; then equilibrium."""
    mass = entry.mass_g / 1000
    water = entry.water_in * mass
    ca = 0.5 * min(paper.acid_groups * mass, max(stock.alkali, 0.0))
    acid = paper.strong_acid * mass
    account.book(account.put_in, water=water, acid=acid)
    account.book(account.taken, ca=ca)
    return _settled(
        Stock(stock.water_kg + water, stock.ca - ca, stock.acid + acid, stock.co2, stock.solid),
        tray,
    )


def _aired(tray: Tray, minutes: float, stock: Stock, account: _Account) -> Stock:
    """Step 5, in steps of half an hour at most."""
    steps = max(1, math.ceil(minutes / _AIR_STEP_MIN))
    for _ in range(steps):
        gained = uptake(tray.uptake_mol_m2_h, stock.oh) * tray.area_m2 * minutes / steps / 60
        account.book(account.put_in, co2=gained)
        stock = _settled(replace(stock, co2=stock.co2 + gained), tray)
    return stock


def _settled(stock: Stock, tray: Tray) -> Stock:
    """Calcite dissolved or fallen out to equilibrium, all else kept."""
    ca, co2 = stock.ca + stock.solid, stock.co2 + stock.solid
    found = engine.speciate(
        ca / stock.water_kg, tray.temperature_c, co2 / stock.water_kg,
        acid_mol_per_kg=stock.acid / stock.water_kg,
    )  # fmt: skip
    solid = min(found.calcite_mol_per_kg * stock.water_kg, ca, co2)
    return Stock(
        stock.water_kg, ca - solid, stock.acid, co2 - solid, solid, found.ph, found.oh_mol_per_kg
    )


def _lifted_out(paper: Paper, entry: Entry, stock: Stock, account: _Account) -> Stock:
    water = paper.pickup * entry.mass_g / 1000
    share = water / stock.water_kg
    if share >= 0.5:
        raise ValueError(
            f"a wrap of {entry.mass_g:g} g lifts out half of the bath or more: there is too "
            "little of it for so much paper"
        )
    gone = {"ca": share * stock.ca, "acid": share * stock.acid, "co2": share * stock.co2}
    account.book(account.taken, water=water, **gone)
    return replace(
        stock, water_kg=stock.water_kg - water, ca=stock.ca - gone["ca"],
        acid=stock.acid - gone["acid"], co2=stock.co2 - gone["co2"],
    )  # fmt: skip


def _held(stock: Stock) -> dict[str, float]:
    return {
        "water": stock.water_kg, "ca": stock.ca + stock.solid, "acid": stock.acid,
        "co2": stock.co2 + stock.solid,
    }  # fmt: skip


def _misses(stock: Stock, account: _Account) -> float:
    """The largest amount by which what is held misses what went in less what went out."""
    return max(
        abs(held - account.put_in.get(name, 0.0) + account.taken.get(name, 0.0))
        for name, held in _held(stock).items()
    )


def _emptied(stock: Stock, account: _Account) -> float:
    account.book(account.taken, **_held(stock))
    return _misses(Stock(0.0, 0.0), account)


def _row(number: int, paper: Paper, stock: Stock, batch: int) -> Row:
    alkalinity = max(stock.alkali, 0.0) / stock.water_kg
    return Row(
        number, stock.ph, alkalinity, stock.ca / stock.water_kg, stock.solid,
        paper.pickup * alkalinity, stock.water_kg, batch,
    )  # fmt: skip
