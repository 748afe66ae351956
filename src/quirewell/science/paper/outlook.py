"""What a treatment or another store is worth: a ratio of lives with a 90 % band, never years.

    life after / before = 10^(a (pH_after - pH_before)) * rate(store before) / rate(store after)

``a`` = 0.244 (``strlic2015``, from memory) with 0.05 as its standard deviation; pH as a cold
extract would give it, each reading with what its method leaves open; no benefit beyond pH 8.5.
Activation energy and the law of humidity are drawn too. A ratio assumes that nothing else changed:
light, handling and new acid from the air are not in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.evidence.normal import Z90
from quirewell.science.paper.decay import A_ACID, CAP_PH, LAWS, relative_rate

Array = NDArray[np.float64]
DRAWS = 20_000
U_ACID = 0.05
# kJ/mol: 90 to 120 in the literature, typically 104 to 113 (from memory).
EA_KJ, U_EA_KJ = 108.0, 9.0


@dataclass(frozen=True, slots=True)
class Ph:
    """A pH as a cold extract would give it, with its standard deviation [pH]."""

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Store:
    """Where it is kept: mean temperature [C] and relative humidity [0..1], with their u."""

    temperature_c: float = 20.0
    rh: float = 0.5
    u_temperature_c: float = 0.5
    u_rh: float = 0.03


@dataclass(frozen=True, slots=True)
class Ratio:
    """A ratio of lives: median, 90 % band, and the spread (of the logarithm) from each part.

    ``by_ph`` and ``by_store``: low, median and high of what each alone gives.
    """

    median: float
    low90: float
    high90: float
    parts: dict[str, float]
    by_ph: tuple[float, float, float] = (1.0, 1.0, 1.0)
    by_store: tuple[float, float, float] = (1.0, 1.0, 1.0)

    @property
    def u(self) -> float:
        """Standard uncertainty, as that of a normal band of the same width."""
        return (self.high90 - self.low90) / (2 * Z90)


def outlook(
    before: Ph | None, after: Ph | None, store_before: Store = Store(),
    store_after: Store = Store(), draws: int = DRAWS, seed: int = 1936,
) -> Ratio:  # fmt: skip
    """Life after relative to life before; a pH of None on both sides leaves the stores alone.

    Raises
    ------
    ValueError
        When only one pH is given, or a value cannot be.
    """
    if (before is None) != (after is None):
        raise ValueError("a ratio needs both pH values, before and after, or neither")
    for store in (store_before, store_after):
        _check_store(store)
    rng = np.random.default_rng(seed)
    slope = rng.normal(A_ACID, U_ACID, draws)
    energy = 1000 * rng.normal(EA_KJ, U_EA_KJ, draws)
    law = rng.integers(0, len(LAWS), draws)
    acid = np.zeros(draws)
    if before is not None and after is not None:
        _check_ph(before)
        _check_ph(after)
        ends = [np.minimum(rng.normal(one.value, one.u, draws), CAP_PH) for one in (after, before)]
        acid = slope * (ends[0] - ends[1]) * math.log(10)
    same = store_before == store_after
    rates = [_log_rate(store, energy, law, rng, same) for store in (store_before, store_after)]
    climate = rates[0] - rates[1]
    return _ratio(acid, climate)


def _ratio(acid: Array, climate: Array) -> Ratio:
    low, median, high = _band(acid + climate)
    parts = {"pH": float(acid.std()), "store": float(climate.std())}
    return Ratio(median, low, high, parts, _band(acid), _band(climate))


def _band(logs: Array) -> tuple[float, float, float]:
    low, median, high = (float(v) for v in np.exp(np.quantile(logs, (0.05, 0.5, 0.95))))
    return low, median, high


def _log_rate(
    store: Store, energy: Array, law: NDArray[np.integer], rng: np.random.Generator, same: bool
) -> Array:
    draws = len(energy)
    t, h = np.full(draws, store.temperature_c), np.full(draws, store.rh)
    if not same:
        t = rng.normal(store.temperature_c, store.u_temperature_c, draws)
        h = np.clip(rng.normal(store.rh, store.u_rh, draws), 0.02, 0.98)
    rate = np.empty(draws)
    for number, name in enumerate(LAWS):
        mine = law == number
        rate[mine] = relative_rate(t[mine], h[mine], energy[mine], name)
    return np.log(rate)


def _check_ph(ph: Ph) -> None:
    if not (2.5 <= ph.value <= 12 and 0.01 <= ph.u <= 3):
        raise ValueError(
            f"a pH of paper lies between 2.5 and 12 and its u between 0.01 and 3, got "
            f"{ph.value:g} with {ph.u:g}"
        )


def _check_store(store: Store) -> None:
    if not -20 <= store.temperature_c <= 45:
        hint = "; is that Fahrenheit?" if 45 < store.temperature_c <= 110 else ""
        raise ValueError(
            f"a store is between -20 and 45 °C here, got {store.temperature_c:g} °C{hint}"
        )
    if not 0.05 <= store.rh <= 0.95:
        hint = "; give 0.5 for 50 %" if 1 < store.rh <= 100 else ""
        raise ValueError(f"humidity is between 0.05 and 0.95 here, got {store.rh:g}{hint}")
    if not (0 < store.u_temperature_c <= 15 and 0 < store.u_rh <= 0.3):
        raise ValueError("the store's uncertainties must be above 0, up to 15 °C and 0.3")
