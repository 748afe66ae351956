"""The smallest change that would have been seen.

Two different questions live here and are kept apart by name:

- ``minimum_detectable_change``: the smallest OBSERVED difference that is not reading scatter
  (the usual MDC95, one error rate; a true change of that size is called in one half of cases);
- ``smallest_detectable``: the smallest TRUE change that would have been called "changed" with
  a stated chance (two error rates). This one stands behind every "no change found".
"""

from __future__ import annotations

import math

import scipy

from quirewell.science.evidence.uncertainty import coverage_factor


def minimum_detectable_change(
    reading_sd: float, readings_before: int = 1, readings_after: int = 1, level: float = 0.95
) -> float:
    """Smallest observed difference (unit of the reading) beyond reading scatter.

    MDC = z sqrt(1/k1 + 1/k2) s_r, for k1 readings before and k2 after.

    Raises:
        ValueError: with less than one reading, or a negative standard deviation.

    >>> round(minimum_detectable_change(1.0), 3)
    2.772
    """
    if readings_before < 1 or readings_after < 1:
        raise ValueError(
            f"one reading before and one after are needed, got {readings_before} and "
            f"{readings_after}"
        )
    if reading_sd < 0:
        raise ValueError(f"a standard deviation cannot be negative, got {reading_sd}")
    spread = math.sqrt(1 / readings_before + 1 / readings_after) * reading_sd
    return coverage_factor(level) * spread


def decision_factor(false_alarm: float = 0.05, looks: int = 1, dof: float = math.inf) -> float:
    """Factor k [-]: a change is called when \\|change\\| > k u.

    ``false_alarm`` [0..1] is the chance of calling a change that is not there, over all
    ``looks`` together (divided among them, Bonferroni), either direction.
    """
    if looks < 1:
        raise ValueError(f"at least one quantity must be looked at, got {looks}")
    return coverage_factor(1 - false_alarm / looks, dof)


def power(true_change: float, u: float, k: float) -> float:
    """Chance [0..1] that a true change is called, |change + error| > k u, error normal(0, u)."""
    if u <= 0:
        return 1.0 if abs(true_change) > 0 else 0.0
    shift = abs(true_change) / u
    return float(scipy.stats.norm.sf(k - shift) + scipy.stats.norm.cdf(-k - shift))


def smallest_detectable(u: float, k: float, chance: float = 0.95) -> float:
    """Smallest true change (unit of ``u``) called with at least ``chance`` [0..1].

    Solves power(change) = chance; close to (k + z) u, with z = 1.645 for 95 %.

    Raises:
        ValueError: when ``u`` is negative or the chance does not lie between 0 and 1.

    >>> round(smallest_detectable(1.0, 1.959964), 3)
    3.605
    """
    if u < 0:
        raise ValueError(f"an uncertainty cannot be negative, got {u}")
    if not 0 < chance < 1:
        raise ValueError(f"a chance lies between 0 and 1, got {chance}")
    if u == 0:
        return 0.0
    if power(0.0, 1.0, k) >= chance:
        return 0.0
    top = k + float(scipy.stats.norm.ppf(chance)) + 10
    root = scipy.optimize.brentq(
        lambda change: power(change, 1.0, k) - chance, 0.0, top, xtol=1e-12
    )
    return float(root) * u


def event_rate_limit(events: int, trials: int, level: float = 0.95) -> float:
    """Exact one-sided upper limit [0..1] of an event's rate (``clopper1934``).

    >>> round(event_rate_limit(0, 12), 4)
    0.2209
    """
    _check_counts(events, trials)
    if events == trials:
        return 1.0
    return float(scipy.stats.beta.ppf(level, events + 1, trials - events))


def event_rate_interval(events: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided interval [0..1] of an event's rate (``clopper1934``)."""
    _check_counts(events, trials)
    tail = (1 - level) / 2
    low = 0.0 if events == 0 else float(scipy.stats.beta.ppf(tail, events, trials - events + 1))
    return low, event_rate_limit(events, trials, 1 - tail)


def _check_counts(events: int, trials: int) -> None:
    if not (trials >= 1 and 0 <= events <= trials):
        raise ValueError(f"events must lie between 0 and the trials, got {events} of {trials}")
