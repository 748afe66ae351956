"""How sure a ledger is, and after how many wraps its bath is to be changed.

Pick-up, the paper's acids, the air's carbon dioxide and the strength of the bath are drawn at
random (seeded); each draw is worked through by the same five steps as :mod:`.ledger`, its alkali,
free hydroxide and pH read off :mod:`.lime_curve`. The spread about its own median is laid on the
exact row.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quirewell.science.bath import engine
from quirewell.science.bath.constants import (
    CONSTANTS,
    MOLAR_MASS_CACO3,
    water_density_kg_per_l,
)
from quirewell.science.bath.ledger import Entry, Ledger, Paper, Row, Tray, two_films
from quirewell.science.bath.lime_curve import Curve, lime_curve
from quirewell.science.evidence.normal import Z90

Array = NDArray[np.float64]
DRAWS = 600
LONGEST = 400
CHANGE_AT = 0.5
NAMES = ("pickup", "acid_groups", "strong_acid", "uptake", "strength")


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
        return (self.high90 - self.low90) / (2 * Z90)


@dataclass(frozen=True, slots=True)
class BandRow:
    """A row of the ledger with what is not known of it."""

    row: Row
    ph: Band
    alkalinity_mol_per_kg: Band
    reserve_pct_caco3: Band
    ca_mol_per_kg: Band
    carbonate_mol: Band


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
        return math.log(row.high / row.low) / (2 * Z90)

    scatter = CONSTANTS["solubility_scatter"].high / Z90
    return Spread(
        pickup_log_sigma, log_sigma("acid_groups"), log_sigma("strong_acid"),
        log_sigma("air_uptake"), math.hypot(scatter, 0.03 if strength < 1 else 0.0),
    )  # fmt: skip


@dataclass(slots=True)
class _Draws:
    """The random factors, and the tray's inventory in every draw: water [kg]; calcium, acid met and
    carbon dioxide, fallen out or not [mol]; lime still free [mol/kg] and alkali [mol/kg]."""

    curve: Curve
    pickup: Array
    groups: Array
    acid: Array
    uptake: Array
    start: Array
    water: Array
    ca: Array
    used: Array
    co2: Array
    x: Array
    alkali: Array

    def settle(self) -> None:
        """Lime still free, and the alkali that is dissolved then."""
        self.x = (self.ca - 0.5 * self.used - self.co2) / self.water
        # No more carbonate is dissolved than the air gave.
        most = 2 * (self.x + self.co2 / self.water)
        self.alkali = np.maximum(np.minimum(self.curve.alkali(self.x), most), 0.0)

    @property
    def dissolved(self) -> tuple[Array, Array]:
        """Calcium and carbon dioxide dissolved [mol]."""
        alkali = self.alkali * self.water
        ca = np.minimum(0.5 * (alkali + self.used), self.ca)
        return ca, np.maximum(ca - 0.5 * self.used - self.x * self.water, 0.0)


def _drawn(tray: Tray, paper: Paper, spread: Spread, draws: int, seed: int) -> _Draws:
    return _begun(tray, paper, _logs(spread, draws, seed))


def _logs(spread: Spread, draws: int, seed: int) -> Array:
    rng = np.random.default_rng(seed)
    sigmas = np.array([getattr(spread, name) for name in NAMES])
    return np.asarray(sigmas[:, None] * rng.standard_normal((len(NAMES), draws)))


def _begun(tray: Tray, paper: Paper, logs: Array) -> _Draws:
    """Trays made up, for logarithms of the five factors (5, draws) in the order of ``NAMES``."""
    pickup, groups, acid, air, strength = np.exp(logs)
    water = tray.litres * water_density_kg_per_l(tray.temperature_c)
    ca = water * tray.strength * engine.saturate(tray.temperature_c).ca_mol_per_kg * strength
    none = np.zeros(logs.shape[1])
    state = _Draws(
        lime_curve(tray.temperature_c), paper.pickup * pickup, paper.acid_groups * groups,
        paper.strong_acid * acid, tray.uptake_mol_m2_h * air, ca, none + water, ca, none, none,
        none, none,
    )  # fmt: skip
    state.settle()
    return state


def _wrapped(state: _Draws, entry: Entry) -> None:
    """One wrap goes in, in every draw; the bath stands as it is lifted out."""
    mass = entry.mass_g / 1000
    exchanged = 0.5 * np.minimum(state.groups * mass, state.alkali * state.water)
    state.water = state.water + entry.water_in * mass
    state.ca = state.ca - exchanged
    state.used = state.used + state.acid * mass
    state.settle()


def _left(state: _Draws, tray: Tray, entry: Entry) -> None:
    """The wrap is lifted out, and the air has had its minutes."""
    share = np.minimum(state.pickup * entry.mass_g / 1000 / state.water, 0.9)
    # What has fallen out stays: only what is dissolved is carried away.
    ca, co2 = state.dissolved
    state.ca, state.co2 = state.ca - share * ca, state.co2 - share * co2
    state.used, state.water = state.used * (1 - share), state.water * (1 - share)
    if entry.open_air:
        steps = max(1, math.ceil(entry.minutes / 30))
        for _ in range(steps):
            flux = two_films(state.uptake, state.curve.hydroxide(state.x))
            state.co2 = state.co2 + flux * tray.area_m2 * entry.minutes / steps / 60
            state.settle()


def _between(state: _Draws, tray: Tray, entry: Entry) -> None:
    """A fresh bath, or a top-up."""
    density = water_density_kg_per_l(tray.temperature_c)
    if entry.kind == "fresh":
        none = np.zeros_like(state.ca)
        state.water, state.ca = none + tray.litres * density, state.start
        state.used, state.co2 = none, none
    else:
        water = entry.litres * density
        full = engine.saturate(tray.temperature_c).ca_mol_per_kg
        state.water, state.ca = state.water + water, state.ca + water * entry.strength * full
    state.settle()


def with_bands(
    ledger: Ledger, tray: Tray, paper: Paper, entries: Sequence[Entry], spread: Spread,
    ph_u: float = 0.03, draws: int = DRAWS, seed: int = 1936,
) -> tuple[BandRow, ...]:  # fmt: skip
    """Every row of a ledger with its 90 % band.

    ``ph_u``: standard uncertainty of a pH of a known bath (model and thermometer).
    """
    state = _drawn(tray, paper, spread, draws, seed)
    rows: list[Array] = []
    for entry in entries:
        if entry.kind == "wrap":
            _wrapped(state, entry)
            rows.append(_read(state))
            _left(state, tray, entry)
        else:
            _between(state, tray, entry)
    if not rows:
        return ()
    # All at once: a call for each costs more than the sorting.
    ends = np.quantile(np.array(rows), (0.05, 0.5, 0.95), axis=2)
    return tuple(_banded(row, ends[:, n].T.tolist(), ph_u) for n, row in enumerate(ledger.rows))


@dataclass(frozen=True, slots=True, eq=False)
class Worked:
    """Alkali and lime still free [mol/kg] in every draw: of the bath as it stands ``after`` each
    wrap, the fresh bath first, and of each bath of the series as it was ``made`` up."""

    after: tuple[tuple[Array, Array], ...]
    made: tuple[tuple[Array, Array], ...]


def worked_through(tray: Tray, paper: Paper, entries: Sequence[Entry], logs: Array) -> Worked:
    """Every draw worked through the entries, for logarithms of the five factors (5, draws) in the
    order of ``NAMES``."""
    state = _begun(tray, paper, logs)
    after, made = [(state.alkali, state.x)], [(state.alkali, state.x)]
    for entry in entries:
        if entry.kind == "wrap":
            _wrapped(state, entry)
            _left(state, tray, entry)
            after.append((state.alkali, state.x))
        else:
            _between(state, tray, entry)
            if entry.kind == "fresh":
                made.append((state.alkali, state.x))
    return Worked(tuple(after), tuple(made))


def _read(state: _Draws) -> Array:
    """pH, alkali [mol/kg], reserve [% CaCO3], calcium [mol/kg] and carbonate [mol] of every draw
    (5, draws)."""
    ca, co2 = state.dissolved
    reserve = state.alkali * state.pickup * MOLAR_MASS_CACO3 / 20
    return np.array(
        [
            state.curve.ph(state.x), state.alkali, reserve, ca / state.water,
            np.maximum(state.co2 - co2, 0.0),
        ]
    )  # fmt: skip


def _banded(row: Row, ends: Sequence[Sequence[float]], ph_u: float) -> BandRow:
    (low, middle, high), alkali, reserve, calcium, carbonate = ends
    return BandRow(
        row,
        Band(
            row.ph, row.ph - math.hypot(middle - low, Z90 * ph_u),
            row.ph + math.hypot(high - middle, Z90 * ph_u),
        ),
        _about(row.alkalinity_mol_per_kg, alkali), _about(row.reserve_pct_caco3, reserve),
        _about(row.ca_mol_per_kg, calcium), _about(row.carbonate_mol, carbonate),
    )  # fmt: skip


def _about(value: float, ends: Sequence[float]) -> Band:
    """The exact value with the spread of the draws about their own median."""
    low, middle, high = ends
    if middle <= 0 or value <= 0:
        return Band(value, min(value, low), max(value, high))
    return Band(value, value * low / middle, value * high / middle)


def change_after(
    tray: Tray, paper: Paper, entry: Entry | Sequence[Entry], spread: Spread,
    change_at: float = CHANGE_AT, draws: int = DRAWS, seed: int = 1936,
) -> Change:  # fmt: skip
    """After how many wraps the next would get less than a share of the first's reserve.

    ``entry``: wraps all alike; or the wraps of a series, in order and over again, no top-up and no
    fresh bath among them.

    Raises:
        ValueError: when the share does not lie between 0.1 and 0.95, or there is no wrap.
    """
    if not 0.1 <= change_at <= 0.95:
        raise ValueError(
            f"a bath is changed at 0.1 to 0.95 of its first reserve, got {change_at:g}"
        )
    series = [entry] if isinstance(entry, Entry) else [one for one in entry if one.kind == "wrap"]
    if not series:
        raise ValueError("without a wrap it cannot be told when to change the bath")
    spreads = [spread, *(spread.without(name) for name in NAMES)]
    logs = np.hstack([_logs(one, draws, seed) for one in spreads])
    counts = _counts(_begun(tray, paper, logs), tray, series, change_at)
    ends = [
        tuple(math.floor(q) for q in np.quantile(part, (0.05, 0.5, 0.95)))
        for part in np.split(counts, len(spreads))
    ]
    low, median, high = ends[0]
    gains = {name: end[0] for name, end in zip(NAMES, ends[1:], strict=True)}
    best = max(gains, key=lambda name: gains[name])
    return Change(max(low, 1), max(median, 1), max(high, 1), best if gains[best] > low else "")


def _counts(state: _Draws, tray: Tray, series: Sequence[Entry], change_at: float) -> Array:
    """How many wraps of the series, over and over, each draw serves before the share is passed."""
    _wrapped(state, series[0])
    first = state.alkali
    counts = np.ones_like(first)
    good = np.ones(first.shape, np.bool_)
    for number in range(1, LONGEST):
        _left(state, tray, series[(number - 1) % len(series)])
        _wrapped(state, series[number % len(series)])
        good &= state.alkali >= change_at * first
        if not good.any():
            break
        counts += good
    return counts
