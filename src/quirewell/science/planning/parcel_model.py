"""The rules for parcels as a matrix, and HiGHS asked through scipy.

maximise  sum gain x - sum fixed z   (x: an item sent one way; y: a counted tier opened in a parcel;
z: a parcel sent; all 0 or 1), with one way for an item, counts between minimum and maximum where y,
insured sums under caps, bench minutes and money laid out under what there is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, inf

import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.planning.parcel_pruning import counted
from quirewell.science.planning.parcels import Option, Problem

# Gains are whole cents; the slack [cents] covers the solver's own rounding.
SLACK = 1e-3
Chosen = dict[str, Option]
Array = NDArray[np.float64]
# Column of a y, and the value it is held at.
Held = Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The plan with parts of items allowed: a bound [cents], each y that is not held, and of every
    column its value and what the bound falls by, at least, when it moves off that end [cents]."""

    bound: int
    values: dict[int, float]
    x: Array
    falls: Array

    def far(self, by: float) -> dict[int, int]:
        """Columns held at the end they stand at: to move any of them costs more than ``by``."""
        return {
            int(c): int(self.x[c] > 0.5) for c in np.flatnonzero(self.falls > by + SLACK)
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Run:
    """One run of the exact solver: plan (None: none found), bound [cents] (None: not known),
    whether it ended by itself, and whether it proved that there is no plan."""

    chosen: Chosen | None
    bound: int | None
    ended: bool
    impossible: bool


class Model:
    """The rules as a matrix."""

    def __init__(self, problem: Problem, options: Sequence[Option], inside: frozenset[str]) -> None:
        self.options = list(options)
        tiers = {tier.name: tier for tier in problem.tiers}
        parcels = {parcel.name: parcel for parcel in problem.parcels}
        places = sorted(
            {(o.tier, o.parcel) for o in options if counted(tiers[o.tier])}
        )  # a variable y each
        used = sorted({o.parcel for o in options})  # a variable z each
        y = {place: len(options) + i for i, place in enumerate(places)}
        z = {name: len(options) + len(places) + i for i, name in enumerate(used)}
        self.cost = np.zeros(len(options) + len(places) + len(used))
        self.cost[: len(options)] = [-o.gain for o in options]
        for name, column in z.items():
            self.cost[column] = parcels[name].fixed
        self.counted = sorted(y.values())
        self.rows: list[tuple[dict[int, float], float, float]] = []
        items: dict[str, dict[int, float]] = {}
        sent: dict[tuple[str, str], dict[int, float]] = {}
        put: dict[tuple[str, str, str], dict[int, float]] = {}
        insured: dict[str, dict[int, float]] = {}
        held: dict[tuple[str, str], dict[int, float]] = {}
        for column, one in enumerate(options):
            items.setdefault(one.item, {})[column] = 1.0
            sent.setdefault((one.item, one.parcel), {})[column] = 1.0
            insured.setdefault(one.parcel, {})[column] = float(one.declared)
            if (one.tier, one.parcel) in y:
                put.setdefault((one.item, one.tier, one.parcel), {})[column] = 1.0
                held.setdefault((one.tier, one.parcel), {})[column] = 1.0
        for name, row in items.items():
            self._row(row, 1.0 if name in inside else -inf, 1.0)
        for (_, parcel), row in sent.items():
            self._row({**row, z[parcel]: -1.0}, -inf, 0.0)
        for (_, tier, parcel), row in put.items():
            self._row({**row, y[tier, parcel]: -1.0}, -inf, 0.0)
        for (tier, parcel), row in held.items():
            self._row({y[tier, parcel]: 1.0, z[parcel]: -1.0}, -inf, 0.0)
            self._row({**row, y[tier, parcel]: -float(tiers[tier].minimum)}, 0.0, inf)
            most = tiers[tier].maximum
            if most is not None:
                self._row({**row, y[tier, parcel]: -float(most)}, -inf, 0.0)
        for parcel, row in insured.items():
            cap = parcels[parcel].cap
            if cap is not None:
                self._row({**row, z[parcel]: -float(cap)}, -inf, 0.0)
        if problem.minutes is not None:
            work = {i: float(o.minutes) for i, o in enumerate(options) if o.minutes}
            self._row(work, -inf, float(problem.minutes))
        if problem.spend is not None:
            paid = {i: float(o.outlay) for i, o in enumerate(options)}
            paid |= {column: float(parcels[name].fixed) for name, column in z.items()}
            self._row(paid, -inf, float(problem.spend))

        indptr, columns, values = [0], [], []
        for row, _, _ in self.rows:
            columns += list(row)
            values += list(row.values())
            indptr.append(len(columns))
        shape = len(self.rows), len(self.cost)
        self.matrix = scipy.sparse.csr_matrix((values, columns, indptr), shape=shape)
        self.low = np.array([row[1] for row in self.rows])
        self.high = np.array([row[2] for row in self.rows])

    def _row(self, row: Mapping[int, float], low: float, high: float) -> None:
        self.rows.append((dict(row), low, high))

    def _bounds(self, held: Held) -> scipy.optimize.Bounds:
        low, high = np.zeros(len(self.cost)), np.ones(len(self.cost))
        for column, value in held.items():
            low[column] = high[column] = value
        return scipy.optimize.Bounds(low, high)

    def relax(self, held: Held) -> Relaxed | None:
        """The bound when parts of items may go; None where even then nothing keeps the rules."""
        above, below = np.isfinite(self.high), np.isfinite(self.low)
        bounds = self._bounds(held)
        answer = scipy.optimize.linprog(
            self.cost,
            A_ub=scipy.sparse.vstack([self.matrix[above], -self.matrix[below]]),
            b_ub=np.concatenate((self.high[above], -self.low[below])),
            bounds=np.column_stack((bounds.lb, bounds.ub)), method="highs",
        )  # fmt: skip
        if answer.x is None:
            return None
        values = {c: float(answer.x[c]) for c in self.counted if c not in held}
        falls = np.where(
            answer.x <= SLACK, answer.lower.marginals,
            np.where(answer.x >= 1 - SLACK, -answer.upper.marginals, 0.0),
        )  # fmt: skip
        return Relaxed(floor(-answer.fun + SLACK), values, answer.x, falls)

    def run(self, held: Held, seconds: float, gap: float) -> Run:
        """The best plan with some y held, for so many seconds at most."""
        answer = scipy.optimize.milp(
            self.cost, integrality=np.ones(len(self.cost)), bounds=self._bounds(held),
            constraints=scipy.optimize.LinearConstraint(self.matrix, self.low, self.high),
            options={"time_limit": max(seconds, 0.01), "mip_rel_gap": gap},
        )  # fmt: skip
        if answer.status == 2:
            return Run(None, None, True, True)
        dual = answer.mip_dual_bound
        bound = None if dual is None or not np.isfinite(dual) else floor(-dual + SLACK)
        if answer.x is None:
            return Run(None, bound, False, False)
        picked = np.flatnonzero(answer.x[: len(self.options)] > 0.5)
        chosen = {self.options[i].item: self.options[i] for i in picked}
        return Run(chosen, bound, answer.status == 0, False)
