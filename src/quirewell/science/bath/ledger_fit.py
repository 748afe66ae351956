"""A real tray's readings pull the model towards this bench: pick-up, acid, air, strength.

Each of some thousands of random papers and airs (:mod:`.ledger_band`) is worked through the
entries; those that fit the readings keep their weight, and more are drawn where they lie
(importance sampling in rounds, ``cappe2004``). What is left is the bench's own band. A reading
that the others would not have let expect is named, with how far off it lies, and counts the less
for it. What the others expect is read off all draws of all rounds at once, weighed by what they
were drawn from; where too few of those speak, it is drawn for anew.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quirewell.science.bath.ledger import Entry, Paper, Tray, check
from quirewell.science.bath.ledger_band import NAMES, Band, Spread, Worked, worked_through
from quirewell.science.bath.lime_curve import lime_curve

Array = NDArray[np.float64]
Kind = Literal["pH", "alkalinity", "conductivity", "pickup"]
DRAWS, ROUNDS, MOST_READINGS = 3000, 5, 100
APART = 3.0
_FEWEST = 200.0
# Each round draws so much wider than what the last one found.
_WIDER = 1.3
# Conductivity of lime water [mS/cm] by alkalinity [mol/kg]: ions' limits at 25 C, less the pull
# between them; 2 % a degree (from memory, within 12 %).
_ION_MS = 258.0


@dataclass(frozen=True, slots=True)
class TrayReading:
    """What was read after so many wraps (0: the fresh bath), with its standard uncertainty; or,
    with ``bath`` of 1 or more, of that bath of the series as it was made up.

    "pH" at ``temperature_c``; "alkalinity" [mol OH/kg], from a titre or a drop count;
    "conductivity" [mS/cm]; "pickup" [g/g] of a weighed wrap.
    """

    after: int
    kind: Kind
    value: float
    u: float
    temperature_c: float = 20.0
    bath: int = 0

    def __post_init__(self) -> None:
        low, high = {
            "pH": (6.0, 13.6), "alkalinity": (0.0, 0.06), "conductivity": (0.0, 15.0),
            "pickup": (0.2, 6.0),
        }[self.kind]  # fmt: skip
        if not (math.isfinite(self.value) and low <= self.value <= high):
            raise ValueError(
                f"a {self.kind} of a lime bath lies between {low:g} and {high:g}, got "
                f"{self.value:g}"
            )
        if not (math.isfinite(self.u) and self.u > 0):
            raise ValueError(f"a reading needs an uncertainty above 0, got {self.u:g}")
        if not 0 <= self.temperature_c <= 40:
            raise ValueError(f"a bath is read between 0 and 40 °C, got {self.temperature_c:g} °C")

    @property
    def says(self) -> str:
        """The reading in words."""
        if self.bath:
            return f"{self.kind} {self.value:g} of bath {self.bath} as made up"
        when = "of the fresh bath" if self.after == 0 else f"after wrap {self.after}"
        return f"{self.kind} {self.value:g} {when}"


@dataclass(frozen=True, slots=True)
class Bench:
    """This bench by its readings: paper, air and strength with their 90 % bands, what is still
    not known as a :class:`~.ledger_band.Spread`, and readings that contradict the rest."""

    paper: Paper
    tray: Tray
    spread: Spread
    pickup: Band
    acid_mol_per_kg: Band
    uptake_mol_m2_h: Band
    contradictions: tuple[tuple[str, float], ...]
    fits: bool


@dataclass(frozen=True, slots=True)
class _Model:
    """A tray with its readings, and how far each not-known thing may lie (5,)."""

    tray: Tray
    paper: Paper
    entries: Sequence[Entry]
    readings: tuple[TrayReading, ...]
    sigmas: Array

    def misses(self, logs: Array) -> Array:
        """How far each draw lies from each reading [its u] (readings, draws)."""
        worked = worked_through(self.tray, self.paper, self.entries, logs)
        pickup = self.paper.pickup * np.exp(logs[NAMES.index("pickup")])
        return np.array([_miss(one, pickup, worked) for one in self.readings])


def alkalinity_of_titre(acid_ml: float, acid_mol_per_l: float, sample_ml: float) -> float:
    """Alkalinity [mol/kg] of a bath from acid used on a sample [mL], taken as a litre a kilogram.

    >>> alkalinity_of_titre(4.3, 0.05, 10.0)
    0.0215
    """
    if not (0 <= acid_ml <= 100 and 0.001 <= acid_mol_per_l <= 2 and 1 <= sample_ml <= 200):
        raise ValueError(
            "a titre is 0 to 100 mL of acid of 0.001 to 2 mol/L on 1 to 200 mL of bath"
        )
    return round(acid_ml * acid_mol_per_l / sample_ml, 12)


def fit(
    tray: Tray, paper: Paper, entries: Sequence[Entry], readings: Sequence[TrayReading],
    spread: Spread, draws: int = DRAWS, seed: int = 1936,
) -> Bench:  # fmt: skip
    """Pull the model towards the readings.

    Raises
    ------
    ValueError
        For readings after wraps that were not bathed, none or too many of them.
    """
    check(tray, paper, entries)
    wraps = sum(entry.kind == "wrap" for entry in entries)
    if not 1 <= len(readings) <= MOST_READINGS:
        raise ValueError(f"1 to {MOST_READINGS} readings can be fitted, got {len(readings)}")
    baths = 1 + sum(entry.kind == "fresh" for entry in entries)
    late = [one.says for one in readings if not (0 <= one.after <= wraps and one.bath <= baths)]
    if late:
        raise ValueError(
            f"only {wraps} wraps were bathed, in {baths} bath{'s' * (baths > 1)}; there is a "
            f"{late[0]}"
        )
    sigmas = np.maximum([getattr(spread, name) for name in NAMES], 1e-6)
    rng = np.random.default_rng(seed)
    bench = _Model(tray, paper, _until(entries, readings), tuple(readings), sigmas)
    pool = _found(bench, rng, draws)
    scores = [_surprise(n, bench, pool, rng, draws) for n in range(len(readings))]
    odd = tuple(
        (one.says, score) for one, score in zip(readings, scores, strict=True) if score > APART
    )
    if odd:
        pool = _found(_loosened(bench, scores), rng, draws)
    logs, weight, fits = pool.last
    middle = {
        "pickup": paper.pickup, "acid_groups": paper.acid_groups,
        "strong_acid": paper.strong_acid, "uptake": tray.uptake_mol_m2_h, "strength": 1.0,
    }  # fmt: skip
    factors = {name: middle[name] * np.exp(row) for name, row in zip(NAMES, logs, strict=True)}
    bands = {name: _band(values, weight) for name, values in factors.items()}
    acid = _band(factors["acid_groups"] + factors["strong_acid"], weight)
    share = bands["acid_groups"].value / (bands["acid_groups"].value + bands["strong_acid"].value)
    return Bench(
        Paper(bands["pickup"].value, share * acid.value, (1 - share) * acid.value),
        Tray(
            tray.litres, min(1.0, tray.strength * bands["strength"].value), tray.temperature_c,
            tray.area_m2, bands["uptake"].value,
        ),
        Spread(**{name: _log_sigma(values, weight) for name, values in factors.items()}),
        bands["pickup"], acid, bands["uptake"], odd, fits,
    )  # fmt: skip


def _loosened(bench: _Model, scores: Sequence[float]) -> _Model:
    """The readings that contradict the rest counted less: their u grows by how far off they lie, so
    that the band spans what they disagree about."""
    readings = tuple(
        replace(one, u=one.u * score) if score > APART else one
        for one, score in zip(bench.readings, scores, strict=True)
    )
    return replace(bench, readings=readings)


def _until(entries: Sequence[Entry], readings: Sequence[TrayReading]) -> Sequence[Entry]:
    """The entries up to the last reading: what came after it tells nothing."""
    wraps = [0] + [n for n, entry in enumerate(entries, 1) if entry.kind == "wrap"]
    baths = [0] + [n for n, entry in enumerate(entries, 1) if entry.kind == "fresh"]
    return entries[: max(baths[one.bath - 1] if one.bath else wraps[one.after] for one in readings)]


def _miss(one: TrayReading, pickup: Array, worked: Worked) -> Array:
    """How far each draw lies from a reading [its u]."""
    if one.kind == "pickup":
        return np.asarray((pickup - one.value) / one.u)
    alkali, free = worked.made[one.bath - 1] if one.bath else worked.after[one.after]
    if one.kind == "alkalinity":
        return np.asarray((alkali - one.value) / one.u)
    if one.kind == "conductivity":
        return np.asarray((conductivity(alkali, one.temperature_c) - one.value) / one.u)
    ph = lime_curve(one.temperature_c).ph(free)
    return np.asarray((ph - one.value) / one.u)


def conductivity(alkalinity_mol_per_kg: Array, temperature_c: float) -> Array:
    """Conductivity of lime water [mS/cm]; from memory, within 12 %."""
    strength = 1.5 * np.maximum(alkalinity_mol_per_kg, 0.0)
    pull = 1 - 0.75 * np.sqrt(strength)
    warm = 1 + 0.02 * (temperature_c - 25)
    return np.asarray(_ION_MS * np.maximum(alkalinity_mol_per_kg, 0.0) * pull * warm)


def _weights(log: Array) -> tuple[Array, bool]:
    """Weights of the draws; flattened until enough of them speak, and whether none was needed."""
    power = 1.0
    for _ in range(60):
        weight = np.exp(power * (log - log.max()))
        weight /= weight.sum()
        if 1 / np.sum(weight**2) >= _FEWEST:
            break
        power *= 0.8
    return weight, power == 1.0


@dataclass(slots=True)
class _Pool:
    """All draws of some rounds: logarithms of the factors (5, n), misses, and the two parts of what
    they weigh; the last round's draws, weights, and whether none had to be flattened."""

    logs: Array
    misses: Array
    prior: Array
    drawn: Array
    last: tuple[Array, Array, bool]

    def weights(self, kept: Sequence[int]) -> tuple[Array, bool]:
        """Weights of all draws for some of the readings, and whether enough of them speak."""
        return _weights(self.prior - 0.5 * np.sum(self.misses[kept] ** 2, axis=0) - self.drawn)


def _found(
    bench: _Model, rng: np.random.Generator, draws: int, without: int | None = None
) -> _Pool:
    """Rounds of draws, each where the last one's weight lay, for all readings but one."""
    kept = [n for n in range(len(bench.readings)) if n != without]
    centre, root = np.zeros(len(NAMES)), np.diag(bench.sigmas)
    rounds: list[tuple[Array, Array]] = []
    from_where: list[tuple[Array, Array]] = []
    for number in range(ROUNDS):
        normal = rng.standard_normal((len(NAMES), draws))
        logs = centre[:, None] + root @ normal
        misses = bench.misses(logs)
        rounds.append((logs, misses))
        from_where.append((centre, root))
        log = -0.5 * np.sum(misses[kept] ** 2, axis=0) + _prior(logs, bench.sigmas)
        log += 0.5 * np.sum(normal**2, axis=0)
        weight, fits = _weights(log)
        if number == ROUNDS - 1:
            break
        centre = logs @ weight
        apart = logs - centre[:, None]
        root = _root(_WIDER**2 * (weight * apart) @ apart.T)
    every, missed = (np.hstack(parts) for parts in zip(*rounds, strict=True))
    drawn = np.logaddexp.reduce([_density(every, *one) for one in from_where], axis=0)
    return _Pool(every, missed, _prior(every, bench.sigmas), drawn, (logs, weight, fits))


def _prior(logs: Array, sigmas: Array) -> Array:
    return np.asarray(-0.5 * np.sum((logs / sigmas[:, None]) ** 2, axis=0))


def _density(logs: Array, centre: Array, root: Array) -> Array:
    """Logarithm of a normal density with a square root of its covariance, but for a constant."""
    apart = np.linalg.solve(root, logs - centre[:, None])
    return np.asarray(-0.5 * np.sum(apart**2, axis=0) - np.linalg.slogdet(root)[1])


def _root(covariance: Array) -> Array:
    """A square root of a covariance, however flat."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 1e-14)))


def _surprise(n: int, bench: _Model, pool: _Pool, rng: np.random.Generator, draws: int) -> float:
    """How far a reading lies from what the others let expect [standard deviations]."""
    weight, enough = pool.weights([k for k in range(len(bench.readings)) if k != n])
    if not enough:
        pool = _found(bench, rng, draws, without=n)
        weight, _ = pool.weights([k for k in range(len(bench.readings)) if k != n])
    middle = float(weight @ pool.misses[n])
    wide = float(weight @ (pool.misses[n] - middle) ** 2)
    return abs(middle) / math.sqrt(wide + 1.0)


def _band(values: Array, weight: Array) -> Band:
    order = np.argsort(values)
    total = np.cumsum(weight[order]) - 0.5 * weight[order]
    low, middle, high = np.interp((0.05, 0.5, 0.95), total, values[order])
    return Band(float(middle), float(low), float(high))


def _log_sigma(values: Array, weight: Array) -> float:
    logs = np.log(np.maximum(values, 1e-12))
    middle = float(weight @ logs)
    return math.sqrt(max(float(weight @ (logs - middle) ** 2), 1e-8))
