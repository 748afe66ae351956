"""Budgets with several results, correlated inputs, second-order terms, and drawn intervals.

Each follows ``jcgm100`` (5.1.2 note, 5.2, H.1, H.2) or ``jcgm101``; one result with independent
terms needs no more than ``uncertainty.Budget``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from quirewell.science.evidence.decimals import Array, centred
from quirewell.science.evidence.uncertainty import Propagated, propagate


@dataclass(frozen=True, slots=True)
class Joint:
    """Values that belong together, with their covariance (products of their units)."""

    values: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]

    @property
    def u(self) -> tuple[float, ...]:
        """Standard uncertainty of each (its own unit)."""
        return tuple(math.sqrt(row[i]) for i, row in enumerate(self.covariance))

    def correlation(self, one: int, two: int) -> float:
        """Correlation [-] of two of them; 0 where either is exact."""
        spread = self.u[one] * self.u[two]
        return self.covariance[one][two] / spread if spread > 0 else 0.0


def observed_together(sets: Sequence[Sequence[Decimal]]) -> Joint:
    """Means of quantities read in joint sets (a row a quantity), with their covariance
    (``jcgm100`` 5.2.3): sum of products about the means over n (n - 1).

    Raises:
        ValueError: rows of unlike length, or fewer than two sets.
    """
    counts = {len(row) for row in sets}
    if len(counts) != 1 or min(counts, default=0) < 2:
        raise ValueError("each quantity needs a reading in every set, and two sets or more")
    parts = [centred(row) for row in sets]
    rest = np.array([part for _, part in parts])
    means = tuple(float(centre) + float(part.mean()) for centre, part in parts)
    return _joint(means, np.atleast_2d(np.cov(rest)) / counts.pop())


def propagate_many(model: Callable[[Array], Array], inputs: Joint, step: float = 1e-3) -> Joint:
    """Several results of correlated inputs: V_out = J V J^T, J by central differences over
    ``step`` standard uncertainties of each input; first order only (``jcgm100`` H.2.3)."""
    centre, cov = np.array(inputs.values), np.array(inputs.covariance)
    columns = []
    for index, u in enumerate(inputs.u):
        move = np.zeros_like(centre)
        move[index] = step * u
        up, down = np.asarray(model(centre + move)), np.asarray(model(centre - move))
        columns.append((up - down) / (2 * step * u) if u > 0 else np.zeros_like(up))
    slopes = np.array(columns).T
    values = tuple(float(one) for one in np.asarray(model(centre)))
    return _joint(values, slopes @ cov @ slopes.T)


def _joint(values: tuple[float, ...], covariance: Array) -> Joint:
    return Joint(values, tuple(tuple(float(one) for one in row) for row in covariance))


def second_order(
    model: Callable[[Array], float], values: Sequence[float], u: Sequence[float]
) -> Propagated:
    """Independent inputs with the terms of next order (``jcgm100`` 5.1.2 note).

    u^2 = sum c_i^2 u_i^2 + sum_ij (c_ij^2 / 2 + c_i c_ijj) u_i^2 u_j^2, derivatives by differences
    over one standard uncertainty, for symmetric distributions. Where it differs much from the
    first order, draw instead (``uncertainty.monte_carlo``).

    Raises:
        ValueError: lists that differ in length.
    """
    if len(values) != len(u):
        raise ValueError(f"each value needs its uncertainty, got {len(values)} and {len(u)}")
    centre, spread = np.array(values, dtype=np.float64), np.array(u, dtype=np.float64)
    first = propagate(model, values, np.diag(spread**2))
    steps = [row for row in np.diag(spread) if row.any()]

    def slope(at: Array, move: Array) -> float:
        return (model(at + move) - model(at - move)) / 2

    def bend(at: Array, move: Array) -> float:
        return model(at + move) - 2 * model(at) + model(at - move)

    more = 0.0
    for i, one in enumerate(steps):
        for j, two in enumerate(steps):
            if i == j:
                double = bend(centre, one)
                third = (slope(centre + one, one) - 2 * slope(centre, one)
                         + slope(centre - one, one))  # fmt: skip
            else:
                double = (slope(centre + two, one) - slope(centre - two, one)) / 2
                third = (bend(centre + one, two) - bend(centre - one, two)) / 2
            more += double**2 / 2 + slope(centre, one) * third
    return Propagated(first.value, math.sqrt(max(first.u**2 + more, 0.0)), first.shares)


def shortest(results: Array, level: float = 0.95) -> tuple[float, float]:
    """Shortest interval that holds ``level`` [0..1] of drawn results (``jcgm101`` 5.3.4, 7.7).

    Raises:
        ValueError: fewer than 100 draws, or a level off 0 to 1.
    """
    if results.size < 100 or not 0 < level < 1:
        raise ValueError(f"100 draws and a level within 0 to 1 are needed, got {results.size}")
    ordered = np.sort(results)
    inside = math.ceil(level * results.size)
    widths = ordered[inside - 1 :] - ordered[: results.size - inside + 1]
    start = int(np.argmin(widths))
    return float(ordered[start]), float(ordered[start + inside - 1])
