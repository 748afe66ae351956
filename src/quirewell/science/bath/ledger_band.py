"""How sure a ledger is, and after how many wraps its bath is to be changed.

Pick-up, the paper's acids, the air's carbon dioxide and the strength of the bath are drawn at
random (seeded); each draw is worked through by the same five steps as :mod:`.ledger`, all carbonate
taken to fall out while hydroxide lasts. The spread about its own median is laid on the exact row.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quirewell.science.bath import engine
from quirewell.science.bath.constants import CONSTANTS, water_density_kg_per_l
from quirewell.science.bath.ledger import (
    Entry,
    Ledger,
    Paper,
    Row,
    Tray,
    two_films,
)

Array = NDArray[np.float64]
DRAWS = 600
LONGEST = 400
CHANGE_AT = 0.5
NAMES = ("pickup", "acid_groups", "strong_acid", "uptake", "strength")
_Z90 = 1.6448536269514722
# pH moves by so much for a tenfold of alkali (dilution of lime water, ``bates1956``: 0.28 for 1+1).
_PH_PER_DECADE = 0.9


@dataclass(frozen=True, slots=True)
class Spread:
    """Logarithmic standard deviations [-] of what is not known: each counts by a factor."""

    pickup: float
    acid_groups: float
    strong_acid: float
    uptake: float
    strength: float

    def without(self, name: str) -> Spread:
        """The same with one thing known."""
        return replace(self, **{name: 0.0})


@dataclass(frozen=True, slots=True)
class Band:
    """A median with its 90 % band."""

    value: float
    low90: float
    high90: float

    @property
    def u(self) -> float:
        """Standard uncertainty: the band's width as that of a normal one."""
        return (self.high90 - self.low90) / (2 * _Z90)


@dataclass(frozen=True, slots=True)
class BandRow:
    """A row of the ledger with what is not known of it."""

    row: Row
    ph: Band
    alkalinity_mol_per_kg: Band
    reserve_pct_caco3: Band


@dataclass(frozen=True, slots=True)
class Change:
    """After how many wraps the bath is to be changed: the low end of the band is the advice.

    ``after`` is at most ``LONGEST`` ("that many or more"); ``narrow`` names what, if known, would
    widen that count's low end most.
    """

    after: int
    median: int
    high: int
    narrow: str


def spread_of(pickup_log_sigma: float, strength: float) -> Spread:
    """What is usually not known; the ranges stand in the constants, most of them from memory."""

    def log_sigma(name: str) -> float:
        row = CONSTANTS[name]
        return math.log(row.high / row.low) / (2 * _Z90)

    scatter = CONSTANTS["solubility_scatter"].high / _Z90
    return Spread(
        pickup_log_sigma, log_sigma("acid_groups"), log_sigma("strong_acid"),
        log_sigma("air_uptake"), math.hypot(scatter, 0.03 if strength < 1 else 0.0),
    )  # fmt: skip


@dataclass(slots=True)
class _Draws:
    """The random factors, and the tray's inventory in every draw."""

    pickup: Array
    groups: Array
    acid: Array
    uptake: Array
    start: Array
    water: Array
    ca: Array
    used: Array
    co2: Array


def _drawn(tray: Tray, paper: Paper, spread: Spread, draws: int, seed: int) -> _Draws:
    rng = np.random.default_rng(seed)
    sigmas = np.array([getattr(spread, name) for name in NAMES])
    return _begun(tray, paper, sigmas[:, None] * rng.standard_normal((len(NAMES), draws)))


def _begun(tray: Tray, paper: Paper, logs: Array) -> _Draws:
    """Trays made up, for logarithms of the five factors (5, draws) in the order of ``NAMES``."""
    pickup, groups, acid, air, strength = np.exp(logs)
    water = tray.litres * water_density_kg_per_l(tray.temperature_c)
    ca = water * tray.strength * engine.saturate(tray.temperature_c).ca_mol_per_kg * strength
    none = np.zeros(logs.shape[1])
    return _Draws(
        paper.pickup * pickup, paper.acid_groups * groups, paper.strong_acid * acid,
        tray.uptake_mol_m2_h * air, ca, np.full(logs.shape[1], water), ca.copy(), none, none.copy(),
    )  # fmt: skip


def _alkali(state: _Draws) -> Array:
    """Dissolved alkali [mol/kg]: carbonate has fallen out as long as hydroxide lasts."""
    left = 2 * state.ca - state.used - 2 * state.co2
    return np.maximum(left, 0.0) / state.water


def _wrapped(state: _Draws, tray: Tray, entry: Entry) -> Array:
    """One wrap in every draw; its alkalinity [mol/kg] as it is lifted out."""
    mass = entry.mass_g / 1000
    state.water = state.water + entry.water_in * mass
    state.ca = np.maximum(state.ca - 0.5 * state.groups * mass, 0.0)
    state.used = state.used + state.acid * mass
    alkali = _alkali(state)
    share = np.minimum(state.pickup * mass / state.water, 0.9)
    # What has fallen out stays: only what is dissolved is carried away.
    state.ca = state.ca - share * np.maximum(state.ca - state.co2, 0.0)
    state.used = state.used * (1 - share)
    state.water = state.water * (1 - share)
    if entry.open_air:
        steps = max(1, math.ceil(entry.minutes / 30))
        for _ in range(steps):
            flux = two_films(state.uptake, _alkali(state))
            state.co2 = state.co2 + flux * tray.area_m2 * entry.minutes / steps / 60
    return alkali


def _refreshed(state: _Draws, tray: Tray) -> None:
    state.water = np.full_like(
        state.water, tray.litres * water_density_kg_per_l(tray.temperature_c)
    )
    state.ca, state.used = state.start.copy(), np.zeros_like(state.ca)
    state.co2 = np.zeros_like(state.ca)


def with_bands(
    ledger: Ledger, tray: Tray, paper: Paper, entries: Sequence[Entry], spread: Spread,
    ph_u: float = 0.03, draws: int = DRAWS, seed: int = 1936,
) -> tuple[BandRow, ...]:  # fmt: skip
    """Every row of a ledger with its 90 % band.

    ``ph_u``: standard uncertainty of a pH of a known bath (model and thermometer).
    """
    state = _drawn(tray, paper, spread, draws, seed)
    rows, number = [], 0
    for entry in entries:
        if entry.kind == "fresh":
            _refreshed(state, tray)
        elif entry.kind == "top-up":
            _topped_up(state, tray, entry)
        else:
            alkali = _wrapped(state, tray, entry)
            rows.append(_banded(ledger.rows[number], alkali, alkali * state.pickup, ph_u))
            number += 1
    return tuple(rows)


def worked_through(tray: Tray, paper: Paper, entries: Sequence[Entry], logs: Array) -> Array:
    """Alkalinity [mol/kg] (wraps + 1, draws) of the bath as it stands after each wrap, the fresh
    bath first, for logarithms of the five factors (5, draws) in the order of ``NAMES``."""
    state = _begun(tray, paper, logs)
    held = [_alkali(state)]
    for entry in entries:
        if entry.kind == "fresh":
            _refreshed(state, tray)
        elif entry.kind == "top-up":
            _topped_up(state, tray, entry)
        else:
            _wrapped(state, tray, entry)
            held.append(_alkali(state))
    return np.array(held)


def _topped_up(state: _Draws, tray: Tray, entry: Entry) -> None:
    water = entry.litres * water_density_kg_per_l(tray.temperature_c)
    full = engine.saturate(tray.temperature_c).ca_mol_per_kg
    state.water = state.water + water
    state.ca = state.ca + water * entry.strength * full


def _banded(row: Row, alkali: Array, reserve: Array, ph_u: float) -> BandRow:
    share = _about(row.alkalinity_mol_per_kg, alkali)
    low, high = (
        max(value, 1e-9) / max(row.alkalinity_mol_per_kg, 1e-9)
        for value in (share.low90, share.high90)
    )
    down, up = (
        math.hypot(_PH_PER_DECADE * math.log10(value), _Z90 * ph_u) for value in (low, high)
    )
    return BandRow(
        row, Band(row.ph, row.ph - down, row.ph + up), share,
        _about(row.reserve_pct_caco3, reserve),
    )  # fmt: skip


def _about(value: float, drawn: Array) -> Band:
    """The exact value with the spread of the draws about their own median."""
    low, middle, high = (float(q) for q in np.quantile(drawn, (0.05, 0.5, 0.95)))
    if middle <= 0 or value <= 0:
        return Band(value, min(value, low), max(value, high))
    return Band(value, value * low / middle, value * high / middle)


def change_after(
    tray: Tray, paper: Paper, entry: Entry, spread: Spread, change_at: float = CHANGE_AT,
    draws: int = DRAWS, seed: int = 1936,
) -> Change:  # fmt: skip
    """After how many wraps like ``entry`` the next would get less than a share of the first's.

    Raises:
        ValueError: when the share does not lie between 0.1 and 0.95.
    """
    if not 0.1 <= change_at <= 0.95:
        raise ValueError(
            f"a bath is changed at 0.1 to 0.95 of its first reserve, got {change_at:g}"
        )
    counts = _counts(tray, paper, entry, spread, change_at, draws, seed)
    low, median, high = (math.floor(q) for q in np.quantile(counts, (0.05, 0.5, 0.95)))
    gains = {
        name: float(
            np.quantile(
                _counts(tray, paper, entry, spread.without(name), change_at, draws, seed), 0.05
            )
        )
        for name in NAMES
    }
    best = max(gains, key=lambda name: gains[name])
    return Change(max(low, 1), max(median, 1), max(high, 1), best if gains[best] > low else "")


def _counts(
    tray: Tray, paper: Paper, entry: Entry, spread: Spread, change_at: float, draws: int, seed: int
) -> Array:
    state = _drawn(tray, paper, spread, draws, seed)
    first = _wrapped(state, tray, entry)
    counts = np.ones(draws)
    good = np.ones(draws, np.bool_)
    for _ in range(LONGEST - 1):
        good &= _wrapped(state, tray, entry) >= change_at * first
        if not good.any():
            break
        counts += good
    return counts
