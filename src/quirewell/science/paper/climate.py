"""A store's climate over time: the mean of the rates, never the rate of the means.

Paper ages faster in warm hours than it slows in cool ones, so a store that swings costs more than
its mean says. Rates are relative to 20 C and 50 % RH at an unchanged pH, over the activation
energies and laws of humidity that the literature leaves open (:mod:`.decay`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.paper.decay import LAWS, relative_rate
from quirewell.science.paper.outlook import EA_KJ, U_EA_KJ

Array = NDArray[np.float64]
# Activation energies by equal shares of probability (normal, mean and u of the outlook).
_SCORES = (-1.645, -0.9, -0.4, 0.0, 0.4, 0.9, 1.645)
LOWEST_RH, HIGHEST_RH = 0.02, 0.98


@dataclass(frozen=True, slots=True)
class Spread:
    """A number by every law and energy: its median, least and greatest."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Climate:
    """What a log says: rate relative to 20 C and 50 % RH, the same at the mean, their ratio; and
    what a cooler or a drier store would make of the life (ratio of lives)."""

    hours: float
    mean_c: float
    mean_rh: float
    rate_relative: Spread
    rate_at_mean: Spread
    penalty_of_swings: Spread
    two_cooler: Spread
    ten_drier: Spread


def climate(temperature_c: Array, rh: Array, hours: Array) -> Climate:
    """Sum up a log: ``temperature_c`` [C], ``rh`` [0..1], ``hours`` that each reading stands for.

    Raises
    ------
    ValueError
        When the arrays differ in length, are empty, or hold values that cannot be.
    """
    t, h, w = (np.asarray(part, dtype=np.float64) for part in (temperature_c, rh, hours))
    if not (len(t) == len(h) == len(w)) or not len(t):
        raise ValueError("temperature, humidity and hours must be of one length, one or more")
    if not (np.isfinite(t).all() and np.isfinite(h).all() and np.isfinite(w).all()):
        raise ValueError("a log for the outlook holds numbers only")
    if t.min() < -20 or t.max() > 60 or h.min() < 0 or h.max() > 1 or w.min() < 0 or w.sum() <= 0:
        raise ValueError("a log lies between -20 and 60 °C and 0 and 1 of humidity, hours above 0")
    share = w / w.sum()
    mean_c, mean_h = float(share @ t), float(share @ h)
    rates = _over_time(t, h, share)
    at_mean = _over_time(np.array([mean_c]), np.array([mean_h]), np.ones(1))
    cooler = _over_time(np.maximum(t - 2.0, -20.0), h, share)
    drier = _over_time(t, h - 0.10, share)
    return Climate(
        float(w.sum()), mean_c, mean_h, _spread(rates), _spread(at_mean),
        _spread(rates / at_mean), _spread(rates / cooler), _spread(rates / drier),
    )  # fmt: skip


def monthly(
    temperature_c: Array, rh: Array, hours: Array, month: NDArray[np.integer]
) -> tuple[tuple[int, float, float, float], ...]:
    """(month 1..12, mean C, mean RH, median relative rate) for each month that the log holds."""
    out = []
    for number in range(1, 13):
        mine = (month == number) & (hours > 0)
        if mine.any():
            one = climate(temperature_c[mine], rh[mine], hours[mine])
            out.append((number, one.mean_c, one.mean_rh, one.rate_relative.median))
    return tuple(out)


def _over_time(t: Array, h: Array, share: Array) -> Array:
    """Mean of the rates for every law and energy; readings alike to 0.1 C and 0.5 % go together."""
    damp = np.clip(h, LOWEST_RH, HIGHEST_RH)
    if len(t) > 5000:
        t, damp, share = _alike(t, damp, share)
    energies = 1000 * (EA_KJ + U_EA_KJ * np.array(_SCORES))
    return np.array(
        [float(share @ relative_rate(t, damp, energy, law)) for law in LAWS for energy in energies]
    )


def _alike(t: Array, h: Array, share: Array) -> tuple[Array, Array, Array]:
    """Readings gathered in cells of 0.1 C and 0.5 % RH, each with its own mean and its share."""
    key = np.round(t * 10).astype(np.int64) * 1000 + np.round(h * 200).astype(np.int64)
    _, label = np.unique(key, return_inverse=True)
    total = np.bincount(label, share)
    kept = total > 0
    means = [np.bincount(label, share * part)[kept] / total[kept] for part in (t, h)]
    return means[0], means[1], np.asarray(total[kept], dtype=np.float64)


def _spread(values: Array) -> Spread:
    return Spread(float(np.median(values)), float(values.min()), float(values.max()))
