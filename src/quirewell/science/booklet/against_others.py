"""Each of a few readings held against what the others say of it.

A straight line (or a constant) is fitted to all readings but one, and the one left out is held
against it: its distance by ``s sqrt(u^2 + x C x)``, the externally studentised residual
(``belsley1980``). ``s`` is the scatter of the others in units of their own u; where u was stated,
s is not taken below 1, since a few readings agree by chance. Several odd ones hide one another, so
the start is the line through two readings that leaves the middle one nearest (least median,
``rousseeuw1984``); it bears up to half of them odd.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Trust in a u that was stated: right to a quarter of itself, so worth 8 degrees of freedom
# (jcgm100, G.4.2); in one that was assumed: to a half, so 2.
STATED_DOF, ASSUMED_DOF = 8, 2
TIMES, CHANCE = 3.0, 0.05


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients with their covariance, already widened by ``scatter`` (in units of u)."""

    values: Array
    covariance: Array
    scatter: float
    dof: float

    def u(self, at: int) -> float:
        """Standard uncertainty of a coefficient."""
        return math.sqrt(float(self.covariance[at, at]))

    def half90(self, at: int) -> float:
        """Half of the 90 % band of a coefficient (Student's t)."""
        return float(scipy.stats.t.ppf(0.95, self.dof)) * self.u(at)


@dataclass(frozen=True, slots=True)
class Others:
    """``fit`` of those kept; ``off`` of each from what the others say (unit of the readings) and
    ``times`` the scatter that is; ``kept``: not odd; ``agree`` False where no more than half lie
    on anything together (then nothing is set aside)."""

    fit: Fit
    off: Array
    times: Array
    kept: NDArray[np.bool_]
    agree: bool


def fit(design: Array, values: Array, u: Array, assumed: bool) -> Fit:
    """Weighted least squares with ``u`` either as stated or as ``assumed``."""
    rows, right = design / u[:, None], values / u
    inverse = np.linalg.inv(rows.T @ rows)
    found = inverse @ rows.T @ right
    left = float(np.sum((right - rows @ found) ** 2))
    dof = len(values) - design.shape[1]
    own = left / dof if dof else 1.0
    if dof and float(scipy.stats.chi2.sf(left, dof)) < CHANCE:
        # They scatter more than u allows: u is wrong, and only they say by how much.
        scatter2, trust = own, float(dof)
    elif assumed:
        scatter2 = (ASSUMED_DOF + left) / (ASSUMED_DOF + dof)
        trust = float(ASSUMED_DOF + dof)
    else:
        scatter2, trust = max(1.0, own), float(STATED_DOF + dof)
    return Fit(found, inverse * scatter2, math.sqrt(scatter2), trust)


def hold(design: Array, values: Array, u: Array, assumed: bool = False) -> Others:
    """Hold each reading against the others.

    Parameters
    ----------
    design
        a row to each reading, a column to each coefficient (one or two)
    values, u
        readings and their standard uncertainties, one unit
    assumed
        whether u is a guess

    Raises
    ------
    ValueError
        with fewer than two readings more than coefficients
    """
    count, width = design.shape
    if count < width + 2:
        raise ValueError(f"{width + 2} readings or more are needed, got {count}: too few")
    kept = _start(design, values, u)
    for _ in range(10):
        off, times, limits = _each(design, values, u, kept, assumed)
        now = np.abs(times) <= limits
        if 2 * int(now.sum()) <= count or int(now.sum()) <= width:
            every = np.ones(count, dtype=bool)
            off, times, _ = _each(design, values, u, every, assumed)
            return Others(fit(design, values, u, assumed), off, times, every, False)
        if bool(np.all(now == kept)):
            break
        kept = now
    return Others(fit(design[kept], values[kept], u[kept], assumed), off, times, kept, True)


def _start(design: Array, values: Array, u: Array) -> NDArray[np.bool_]:
    count, width = design.shape
    middle = (count + width + 1) // 2 - 1
    best: tuple[float, Array] = (math.inf, np.zeros(count))
    for some in itertools.combinations(range(count), width):
        square = design[list(some)]
        if abs(float(np.linalg.det(square))) < 1e-9:
            continue
        through = np.linalg.solve(square, values[list(some)])
        far = np.abs(values - design @ through) / u
        worst = float(np.sort(far)[middle])
        if worst < best[0]:
            best = worst, far
    spread = max(1.0, 1.4826 * (1 + 5 / (count - width)) * best[0])
    kept: NDArray[np.bool_] = best[1] <= 2.5 * spread
    return kept


def _each(
    design: Array, values: Array, u: Array, kept: NDArray[np.bool_], assumed: bool
) -> tuple[Array, Array, Array]:
    out: list[tuple[float, float, float]] = []
    for at in range(len(values)):
        others: NDArray[Any] = kept.copy()
        others[at] = False
        one = fit(design[others], values[others], u[others], assumed)
        off = float(values[at] - design[at] @ one.values)
        spread2 = one.scatter**2 * u[at] ** 2 + float(design[at] @ one.covariance @ design[at])
        limit = max(TIMES, float(scipy.stats.t.ppf(1 - CHANCE / (2 * len(values)), one.dof)))
        out.append((off, off / math.sqrt(spread2), limit))
    off_all, times, limits = np.array(out).T
    return off_all, times, limits
