"""Uncertainty budgets: propagation, effective degrees of freedom, expanded uncertainty.

The law of propagation and the Welch-Satterthwaite formula follow ``jcgm100``; the small
Monte Carlo follows ``jcgm101``. Units are the caller's: every term stands in the unit of the
result it belongs to.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BudgetTerm:
    """One term: standard uncertainty ``u`` (unit of the result), degrees of freedom ``dof``."""

    name: str
    u: float
    dof: float = math.inf
    basis: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.u) and self.u >= 0):
            raise ValueError(f"the uncertainty of {self.name!r} must be 0 or more, got {self.u}")
        if not self.dof > 0:
            raise ValueError(
                f"degrees of freedom of {self.name!r} must be positive, got {self.dof}"
            )


@dataclass(frozen=True, slots=True)
class Budget:
    """Independent terms that add in quadrature."""

    terms: tuple[BudgetTerm, ...]

    @property
    def u(self) -> float:
        """Combined standard uncertainty (unit of the result)."""
        return math.sqrt(sum(term.u**2 for term in self.terms))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom [-] by Welch-Satterthwaite (``jcgm100`` G.4.1)."""
        parts = sum(term.u**4 / term.dof for term in self.terms if math.isfinite(term.dof))
        return self.u**4 / parts if parts > 0 else math.inf

    @property
    def largest(self) -> BudgetTerm:
        """The term that a better tool would narrow most."""
        return max(self.terms, key=lambda term: term.u)

    def coverage_factor(self, level: float = 0.95) -> float:
        """Two-sided factor k [-]: t for the effective degrees of freedom cut to an integer.

        >>> round(Budget((BudgetTerm("reading", 1.0, 16.0),)).coverage_factor(0.99), 3)
        2.921
        """
        return coverage_factor(level, self.dof)

    def expanded(self, level: float = 0.95) -> float:
        """Expanded uncertainty k u (unit of the result)."""
        return self.coverage_factor(level) * self.u


def coverage_factor(level: float, dof: float = math.inf) -> float:
    """Two-sided coverage factor k [-] at ``level`` [0..1] (``jcgm100`` G.4).

    Raises:
        ValueError: when the level does not lie between 0 and 1.
    """
    if not 0 < level < 1:
        raise ValueError(f"a coverage level lies between 0 and 1, got {level}")
    tail = 0.5 + level / 2
    if math.isinf(dof):
        return float(scipy.stats.norm.ppf(tail))
    return float(scipy.stats.t.ppf(tail, max(1, math.floor(dof))))


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity known to lie within +-``half_width``: a / sqrt(3)."""
    return abs(half_width) / math.sqrt(3)


def resolution_u(step: float) -> float:
    """Standard uncertainty of one reading rounded to ``step``: step / sqrt(12).

    >>> round(resolution_u(0.5), 3)
    0.144
    """
    return abs(step) / math.sqrt(12)


@dataclass(frozen=True, slots=True)
class Propagated:
    """A computed value, its standard uncertainty, and what each input gives to it."""

    value: float
    u: float
    shares: tuple[float, ...]


def propagate(
    model: Callable[[Array], float], values: Sequence[float], covariance: Array, step: float = 1e-6
) -> Propagated:
    """Law of propagation u^2 = c V c^T (``jcgm100`` 5.2.2) with numerical derivatives c.

    Central differences over ``step`` times each input's own standard uncertainty (or its
    size, where it has none); first order only.
    """
    centre = np.asarray(values, dtype=np.float64)
    cov = np.asarray(covariance, dtype=np.float64)
    spread = np.sqrt(np.diag(cov))
    slopes = np.zeros_like(centre)
    for index, size in enumerate(spread):
        half = max(size, abs(centre[index]) * 1e-3, 1e-12) * max(step, 1e-6) ** (1 / 3)
        move = np.zeros_like(centre)
        move[index] = half
        slopes[index] = (model(centre + move) - model(centre - move)) / (2 * half)
    variance = float(slopes @ cov @ slopes)
    return Propagated(
        float(model(centre)), math.sqrt(max(variance, 0.0)), tuple(np.abs(slopes) * spread)
    )


@dataclass(frozen=True, slots=True)
class Sampled:
    """Mean, standard deviation and the shortest-known central band of a Monte Carlo."""

    mean: float
    u: float
    low: float
    high: float


def monte_carlo(
    model: Callable[[Array], Array],
    draw: Callable[[np.random.Generator], Array],
    seed: int,
    level: float = 0.90,
) -> Sampled:
    """Propagate distributions by sampling (``jcgm101``, clause 7), with a stated seed.

    ``draw`` gives an array (n, inputs); ``model`` maps it to n results. The band is the
    probabilistically symmetric one at ``level``.
    """
    results = np.asarray(model(draw(np.random.default_rng(seed))), dtype=np.float64)
    low, high = np.quantile(results, [0.5 - level / 2, 0.5 + level / 2])
    return Sampled(float(results.mean()), float(results.std(ddof=1)), float(low), float(high))


def c4(readings: int) -> float:
    """Expected value of the sample standard deviation over sigma [-], normal readings.

    c4 = sqrt(2/(n-1)) gamma(n/2) / gamma((n-1)/2).

    Raises:
        ValueError: with fewer than two readings.

    >>> round(c4(5), 5)
    0.93999
    """
    if readings < 2:
        raise ValueError(f"a standard deviation needs 2 readings or more, got {readings}")
    logs = math.lgamma(readings / 2) - math.lgamma((readings - 1) / 2)
    return math.sqrt(2 / (readings - 1)) * math.exp(logs)


def relative_u_of_sd(readings: int) -> float:
    """Relative uncertainty [-] of a standard deviation from n readings (``jcgm100`` E.1).

    >>> round(100 * relative_u_of_sd(10), 1)
    23.9
    """
    factor = c4(readings)
    return math.sqrt(1 - factor**2) / factor
