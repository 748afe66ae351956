"""The best plan for parcels: exact search, cut into pieces that can be told and stopped.

scipy's door to HiGHS tells nothing while it works and cannot be handed a plan to start from. So the
search branches by itself on which counted tiers are opened in which parcels. A case's bound comes
from the plan in which parts of items may go; a case in which all tiers are settled is solved
exactly, the most promising first, and one whose bound the best plan reaches is dropped. Between
cases the best plan so far is told and may be taken. The first plan told is a plain guess (the best
single parcel, then what fits into further ones). Every plan is checked against the rules.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from math import floor, inf

from quirewell.science.planning.parcel_model import Chosen, Held, Model, Run
from quirewell.science.planning.parcel_pruning import allowed, counted, prune
from quirewell.science.planning.parcels import (
    Option,
    Problem,
    Wish,
    broken,
    options_of,
    total,
)

# Seconds of a large plan's search; of one case at first, doubled where it was not enough.
SECONDS, CASE_SECONDS = 15.0, 2.0
# Cases solved at most, whatever the clock says.
CASES = 200
# A large case is looked at first where no step takes more than this share from its bound.
NEAR = 2e-3
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
    gap: float | None = None,
    left: Callable[[], float] = lambda: SECONDS,
    progress: Callable[[Found], None] = lambda found: None,
    stopped: Callable[[], bool] = lambda: False,
    pruned: bool = True,
) -> Found:
    """The best plan. ``left`` says how many seconds are left; ``progress`` is given the best so
    far, ``stopped`` is asked between cases."""
    asked = wish or Wish()
    open_to = allowed(options, asked)
    if pruned:
        open_to = prune(problem, open_to, asked.inside)
    if asked.inside - {one.item for one in open_to}:
        return Found({}, 0, None, "impossible")
    if not open_to:
        return Found({}, 0, 0, "proved")
    enough = gap if gap is not None else (0.0 if len(open_to) <= MANY else EASY_GAP)
    start: Chosen | None = None if asked.inside else {}
    if start is not None and len(open_to) > MANY:
        start = guess(problem, open_to)
        progress(Found(start, total(problem, start), None, "time"))
    search = _Search(problem, asked, Model(problem, open_to, asked.inside), enough, start)
    return search.run(len(open_to) > MANY, left, progress, stopped)


class _Search:
    """Cases by their bound, the highest first."""

    def __init__(
        self, problem: Problem, wish: Wish, model: Model, enough: float, start: Chosen | None
    ) -> None:
        self.problem, self.wish, self.model, self.enough = problem, wish, model, enough
        self.best = start
        self.gain = 0 if start is None else total(problem, start)
        self.cases: list[tuple[float, int, Held, Mapping[int, float], float]] = []
        self.settled = -inf
        self.order = count()
        self.near = False

    def run(
        self, branch: bool, left: Callable[[], float], progress: Callable[[Found], None],
        stopped: Callable[[], bool],
    ) -> Found:  # fmt: skip
        self.near = branch
        if branch:
            self._open({}, inf)
        else:
            self._add(inf, {}, {}, SECONDS)
        for _ in range(CASES):
            if not self.cases or self._good(-self.cases[0][0]):
                break
            if stopped():
                return self._found("stopped")
            if left() <= 0:
                break
            bound, _, held, values, seconds = self.cases.pop(0)
            if values:
                self._split(-bound, held, values)
                continue
            self._solve(held, -bound, seconds, left())
            progress(self._found("time"))
        return self._found("time")

    def _add(
        self, bound: float, held: Held, values: Mapping[int, float], seconds: float = CASE_SECONDS
    ) -> None:
        self.cases.append((-bound, next(self.order), held, values, seconds))
        self.cases.sort(key=lambda case: case[:2])

    def _open(self, held: Held, above: float) -> None:
        """Add a case with its bound."""
        relaxed = self.model.relax(held)
        if relaxed is not None:
            self._add(min(above, relaxed.bound), held, relaxed.values)

    def _split(self, bound: float, held: Held, values: Mapping[int, float]) -> None:
        """Two cases by the y least decided; where all are decided, that very case and those that
        differ from it, by the first y that does."""
        column = max(values, key=lambda c: (abs(values[c] - round(values[c])), -c))
        if abs(values[column] - round(values[column])) > 1e-6:
            for value in (1, 0):
                self._open({**held, column: value}, bound)
            return
        same = dict(held)
        for column in sorted(values):
            value = round(values[column])
            self._open({**same, column: 1 - value}, bound)
            same[column] = value
        self._add(bound, same, {})

    def _solve(self, held: Held, above: float, seconds: float, left: float) -> None:
        allowed_s = min(seconds, left)
        if self.near:
            run = self._near(held, allowed_s, seconds <= CASE_SECONDS)
        else:
            run = self.model.run(held, allowed_s, 0.9 * self.enough)
        if run.impossible:
            return
        if run.chosen is not None and not broken(self.problem, run.chosen, self.wish):
            gain = total(self.problem, run.chosen)
            if self.best is None or gain > self.gain:
                self.best, self.gain = run.chosen, gain
        bound = above if run.bound is None else min(above, run.bound)
        if run.ended:
            self.settled = max(self.settled, bound)
            return
        self._add(bound, held, {}, 2 * seconds)

    def _near(self, held: Held, seconds: float, first: bool) -> Run:
        """The best plan of a case. What would take more than so much from the bound of its relaxed
        plan is held as it stands there: any plan left out gains less than the bound less that.
        The first time little is left open, to have a good plan soon; then all that could better it.
        """
        relaxed = self.model.relax(held)
        if relaxed is None:
            return Run(None, None, True, True)
        gap = 0.9 * self.enough
        if first:
            by = NEAR * abs(relaxed.bound) + 1
            run = self.model.run({**relaxed.far(by), **held}, seconds / 3, gap)
            if run.chosen is not None and not broken(self.problem, run.chosen, self.wish):
                gain = total(self.problem, run.chosen)
                top = max(run.bound or 0, floor(relaxed.bound - by))
                if run.bound is not None and top <= self._pays(gain):
                    return Run(run.chosen, top, True, False)
                if self.best is None or gain > self.gain:
                    self.best, self.gain = run.chosen, gain
        by = relaxed.bound - self._pays(-inf) + 1
        fixed = relaxed.far(by) if by < abs(relaxed.bound) else {}
        run = self.model.run({**fixed, **held}, (2 / 3 if first else 1) * seconds, gap)
        if not fixed or (run.bound is None and not run.impossible):
            return run
        rest = floor(relaxed.bound - by)
        top = rest if run.bound is None else max(run.bound, rest)
        return Run(run.chosen, top, run.ended or run.impossible, False)

    def _pays(self, gain: float) -> float:
        """Gain [cents] that a better plan than those known, one of them of ``gain``, must pass."""
        best = gain if self.best is None else max(gain, self.gain)
        return best + self.enough * max(best, 0)

    def _good(self, bound: float) -> bool:
        """Whether no plan under this bound betters the best one by more than the gap asked for."""
        return self.best is not None and bound <= self._pays(-inf)

    def _found(self, why: str) -> Found:
        open_to = max(self.settled, -self.cases[0][0] if self.cases else -inf)
        if self.best is None:
            return Found({}, 0, None, why if open_to > -inf else "impossible")
        bound = max(open_to, float(self.gain))
        known = None if bound == inf else int(bound)
        if known == self.gain:
            return Found(self.best, self.gain, known, "proved")
        if why != "stopped" and known is not None and self._good(known):
            return Found(self.best, self.gain, known, "near")
        return Found(self.best, self.gain, known, why)


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
