"""The best plan for parcels: exact search by HiGHS through scipy, in slices of time.

maximise  sum gain x - sum fixed z   (x: an item sent one way; y: a counted tier opened in a parcel;
z: a parcel sent; all 0 or 1), with one way for an item, counts between minimum and maximum where y,
insured sums under caps, bench minutes and money laid out under what there is.

scipy's door to HiGHS tells nothing while it works and cannot be handed a plan to start from. So the
search runs in slices that grow; each starts again, and between them the best plan so far is told
and may be taken. The first plan told is a plain guess (the best single parcel, then what fits into
further ones). Every plan is checked against the rules themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import floor, inf

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from quirewell.science.planning.parcel_pruning import allowed, counted, prune
from quirewell.science.planning.parcels import (
    Option,
    Problem,
    Wish,
    broken,
    options_of,
    total,
)

Chosen = dict[str, Option]
# A slice's seconds: short ones first, since small plans are done at once.
SLICES = (2.0, 4.0, 9.0)
# Above this many options a gap of EASY_GAP is enough; below, the best plan is proved.
MANY, EASY_GAP = 250, 1e-3


@dataclass(frozen=True, slots=True)
class Found:
    """A plan: ``gain`` [cents], ``bound`` [cents] that no plan passes (None: not known), ``why``:
    "proved", "near" (within the gap asked for), "time", "stopped" or "impossible"."""

    chosen: Chosen
    gain: int
    bound: int | None
    why: str

    @property
    def gap(self) -> float | None:
        """How much better a plan could be at most, as a share of this one's gain."""
        if self.bound is None:
            return None
        if self.bound <= self.gain:
            return 0.0
        return (self.bound - self.gain) / abs(self.gain) if self.gain else inf


def every_option(problem: Problem) -> list[Option]:
    """All options of all items, in an order that does not depend on how the items were given."""
    items = sorted(problem.items, key=lambda item: item.name)
    return [one for item in items for one in options_of(problem, item)]


def solve(
    problem: Problem,
    options: Sequence[Option],
    wish: Wish | None = None,
    *,
    slices: Sequence[float] = SLICES,
    gap: float | None = None,
    progress: Callable[[Found], None] = lambda found: None,
    stopped: Callable[[], bool] = lambda: False,
    pruned: bool = True,
) -> Found:
    """The best plan. ``progress`` is given the best so far, ``stopped`` is asked between slices."""
    asked = wish or Wish()
    open_to = allowed(options, asked)
    if pruned:
        open_to = prune(problem, open_to, asked.inside)
    if asked.inside - {one.item for one in open_to}:
        return Found({}, 0, None, "impossible")
    if not open_to:
        return Found({}, 0, 0, "proved")
    enough = gap if gap is not None else (0.0 if len(open_to) <= MANY else EASY_GAP)
    best = Found({}, 0, None, "time")
    if asked.inside:
        best = Found({}, 0, None, "impossible")
    elif len(open_to) > MANY:
        guessed = guess(problem, open_to)
        best = Found(guessed, total(problem, guessed), None, "time")
        progress(best)
    model = _Model(problem, open_to, asked.inside)
    for seconds in slices:
        if stopped():
            return Found(best.chosen, best.gain, best.bound, "stopped")
        chosen, bound, done = model.run(seconds, enough)
        if done == "impossible":
            return Found({}, 0, None, "impossible")
        known = [one for one in (bound, best.bound) if one is not None]
        least = min(known) if known else None
        if chosen is not None and not broken(problem, chosen, asked):
            gain = total(problem, chosen)
            if gain > best.gain or best.why == "impossible" or not best.chosen:
                best = Found(chosen, gain, least, "time")
        best = Found(best.chosen, best.gain, least, best.why)
        if least is not None and best.why != "impossible":
            proved = least <= best.gain
            near = best.gain > 0 and least - best.gain <= enough * best.gain
            if proved or near:
                return Found(best.chosen, best.gain, least, "proved" if proved else "near")
        progress(best)
    return best if best.why != "impossible" else Found({}, 0, best.bound, "time")


class _Model:
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

    def _row(self, row: Mapping[int, float], low: float, high: float) -> None:
        self.rows.append((dict(row), low, high))

    def run(self, seconds: float, gap: float) -> tuple[Chosen | None, int | None, str]:
        """A slice: the plan it found, a bound, and "done", "time" or "impossible"."""
        indptr, columns, values = [0], [], []
        for row, _, _ in self.rows:
            columns += list(row)
            values += list(row.values())
            indptr.append(len(columns))
        size = len(self.cost)
        matrix = csr_matrix((values, columns, indptr), shape=(len(self.rows), size))
        low = np.array([row[1] for row in self.rows])
        high = np.array([row[2] for row in self.rows])
        answer = milp(
            self.cost, integrality=np.ones(size), bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix, low, high),
            options={"time_limit": seconds, "mip_rel_gap": gap},
        )  # fmt: skip
        if answer.status == 2:
            return None, None, "impossible"
        dual = answer.mip_dual_bound
        # Gains are whole cents; the slack covers the solver's own 1e-6 of rounding.
        bound = None if dual is None or not np.isfinite(dual) else floor(-dual + 1e-3)
        if answer.x is None:
            return None, bound, "time"
        picked = np.flatnonzero(answer.x[: len(self.options)] > 0.5)
        chosen = {self.options[i].item: self.options[i] for i in picked}
        return chosen, bound, "done" if answer.status == 0 else "time"


def guess(problem: Problem, options: Sequence[Option]) -> Chosen:
    """A plain plan that keeps every rule: the best single parcel in tiers that do not count, then
    what else fits into further ones. No proof of anything."""
    tiers = {tier.name: tier for tier in problem.tiers}
    free = [one for one in options if not counted(tiers[one.tier]) and one.gain > 0]
    plans: list[Chosen] = [{}]
    for parcel in problem.parcels:
        plan = _filled(problem, [one for one in free if one.parcel == parcel.name], {})
        plans.append(plan)
    best = max(plans, key=lambda plan: total(problem, plan))
    for parcel in problem.parcels:
        more = _filled(problem, [one for one in free if one.parcel == parcel.name], best)
        if total(problem, more) > total(problem, best):
            best = more
    return best


def _filled(problem: Problem, options: Sequence[Option], start: Chosen) -> Chosen:
    """Add options, the most gain for what they insure first, while rules hold."""
    plan = dict(start)
    room = {
        parcel.name: inf if parcel.cap is None else float(parcel.cap) for parcel in problem.parcels
    }
    minutes = inf if problem.minutes is None else float(problem.minutes)
    spend = inf if problem.spend is None else float(problem.spend)
    fixed = {parcel.name: parcel.fixed for parcel in problem.parcels}
    paid: set[str] = set()
    for one in start.values():
        room[one.parcel] -= one.declared
        minutes -= one.minutes
        spend -= one.outlay + (0 if one.parcel in paid else fixed[one.parcel])
        paid.add(one.parcel)
    for one in sorted(options, key=lambda o: (-o.gain / (o.declared + 1), o.item, o.key)):
        cost = one.outlay + (0 if one.parcel in paid else fixed[one.parcel])
        if (
            one.item in plan
            or one.declared > room[one.parcel]
            or one.minutes > minutes
            or cost > spend
        ):
            continue
        plan[one.item] = one
        room[one.parcel] -= one.declared
        minutes -= one.minutes
        spend -= cost
        paid.add(one.parcel)
    return plan
