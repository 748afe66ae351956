"""A plan for the bench by a plain rule, without a solver: feasible or honestly unknown, no proof.

Works tied by a longest wait are placed together at the soonest time at which all of them fit, the
longest way to the end first. Only what fits is placed, so the plan keeps every rule; where a rule
like this paints itself into a corner, it says that it does not know.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy

from quirewell.science.planning.bench_blocks import (
    Blocks,
    Link,
    Run,
    blocks,
    placed,
    runs_and_groups,
    up,
    wet_waiting,
    windows,
)
from quirewell.science.planning.bench_bound import soonest
from quirewell.science.planning.bench_bound import ways as longest_ways
from quirewell.science.planning.bench_check import broken
from quirewell.science.planning.bench_shop import Answer, Problem
from quirewell.science.planning.bench_slack import slack

OPEN = 1 << 40  # the end of a hold whose last work is not placed yet
TRIES = 20_000
ORDERS, MANY = 10, 600  # orders tried; for more blocks than this only two
BEHIND_MIN, LOT_MIN = 2000, 300  # [min] an item stands behind the one before it; what the lot adds


def rule(problem: Problem) -> Answer:
    """A plan by the rule, with a bound by hand (:mod:`.bench_bound`)."""
    runs, groups = runs_and_groups(problem)
    for group in groups:
        size = group.most
        runs += tuple(
            Run(group.tray, group.sheets[i : i + size]) for i in range(0, len(group.sheets), size)
        )
    laid = blocks(problem, runs)
    grid = problem.shop.grid_min
    ways = longest_ways(problem, laid)
    bound = soonest_of(problem) * grid
    starts = None if ways is None else _best(problem, laid, ways, bound // grid)
    if starts is None:
        return Answer("unknown", by="rule", bound=bound)
    works = placed(problem, laid, starts)
    end = max((one.end for one in works), default=problem.now)
    answer = Answer(
        "found", works, end, min(end, bound), wet_waiting(laid, starts, grid),
        slack=slack(problem, laid, starts), by="rule",
    )  # fmt: skip
    return Answer("unknown", by="rule") if broken(problem, answer) else answer


def _best(
    problem: Problem, laid: Blocks, ways: Sequence[int], bound: int
) -> list[int] | None:  # fmt: skip
    """The best of some orders: longest way first, one item before the next, and some by lot."""
    item = {work.id: work.item for work in problem.works}
    rank = {name: i for i, name in enumerate(dict.fromkeys(item.values()))}
    behind = np.array([rank[item[one.works[0]]] for one in laid.blocks])
    lot = np.random.default_rng(0)
    unit = problem.shop.grid_min
    best: list[int] | None = None
    soonest_end = 0
    for number in range(ORDERS if len(ways) <= MANY else 2):
        order = np.array(ways, dtype=float)
        if number:
            order -= behind * (OPEN if number == 1 else BEHIND_MIN / unit)
        if number > 1:
            order += lot.uniform(0, LOT_MIN / unit, len(order))
        starts = _Serial(problem, laid, order.tolist()).all()
        if starts is None:
            continue
        end = max(start + one.size for start, one in zip(starts, laid.blocks, strict=True))
        if best is None or end < soonest_end:
            best, soonest_end = starts, end
        if end <= bound or (len(rank) == 1 and number):
            break
    return best


def soonest_of(problem: Problem) -> int:
    """The bound (units) of a problem whose trays may be free."""
    runs, groups = runs_and_groups(problem)
    laid = blocks(problem, runs)
    shares = {}
    for group in groups:
        for work in problem.works:
            if (work.item, work.sheet) in group.sheets and work.step in group.steps:
                shares[laid.of[work.id]] = group.most
    return soonest(problem, laid, shares)


class _Serial:
    """Places filled one cluster after another."""

    def __init__(self, problem: Problem, laid: Blocks, ways: Sequence[float]) -> None:
        self.problem, self.laid, self.ways = problem, laid, ways
        self.grid = problem.shop.grid_min
        self.now = up(problem.now, self.grid)
        self.hours = windows(problem)
        self.highs = np.array([high for _, high in self.hours])
        self.starts: dict[int, int] = {}
        self.spans = [("", i, i) for i, one in enumerate(laid.blocks) if one.hands]
        self.spans += [(name, i, i) for i, one in enumerate(laid.blocks) for name in one.uses]
        self.spans += [(one.equipment, one.first, one.last) for one in laid.spans]
        self.used: dict[str, dict[int, tuple[int, int]]] = {}
        self.span_of: dict[int, list[int]] = {}
        for number, (_, first, last) in enumerate(self.spans):
            for one in {first, last}:
                self.span_of.setdefault(one, []).append(number)
        self.into: dict[int, list[Link]] = {}
        for link in laid.links:
            self.into.setdefault(link.after, []).append(link)
        self.tries = TRIES
        for number, block in enumerate(laid.blocks):
            if block.start is not None:
                self.starts[number] = block.start // self.grid
        self._hold(self.starts)

    def all(self) -> list[int] | None:
        clusters = self._clusters()
        while clusters:
            ready = [one for one in clusters if self._ready(one)]
            ready.sort(key=lambda one: (-max(self.ways[i] for i in one), min(one)))
            for cluster in ready:
                found = self._soonest(cluster)
                if found is not None:
                    self.starts |= found
                    self._hold(found)
                    clusters.remove(cluster)
                    break
            else:
                return None
        return [self.starts[i] for i in range(len(self.laid.blocks))]

    def _clusters(self) -> list[list[int]]:
        count = len(self.laid.blocks)
        tied = [(one.before, one.after) for one in self.laid.links]
        tied += [(one.after, one.before) for one in self.laid.links if one.most is not None]
        rows, columns = np.array(tied or [(0, 0)]).T
        graph = scipy.sparse.coo_array((np.ones(len(rows)), (rows, columns)), shape=(count, count))
        _, labels = scipy.sparse.csgraph.connected_components(graph, connection="strong")
        out: dict[int, list[int]] = {}
        for number, label in enumerate(labels):
            if number not in self.starts:
                out.setdefault(int(label), []).append(number)
        return [sorted(one, key=lambda i: -self.ways[i]) for one in out.values()]

    def _ready(self, cluster: Sequence[int]) -> bool:
        mine = set(cluster)
        return all(
            one.before in self.starts or one.before in mine
            for number in cluster for one in self.into.get(number, ())
        )  # fmt: skip

    def _soonest(self, cluster: Sequence[int]) -> dict[int, int] | None:
        """Raise starts until every wait, hour and place is kept; None where that never comes."""
        low = dict.fromkeys(cluster, self.now)
        while self.tries > 0:
            self.tries -= 1
            before = dict(low)
            if not self._raise(cluster, low):
                return None
            if low == before:
                return low
        return None

    def _raise(self, cluster: Sequence[int], low: dict[int, int]) -> bool:
        grid, all_blocks = self.grid, self.laid.blocks
        for link in (link for number in cluster for link in self.into.get(number, ())):
            block = all_blocks[link.before]
            if block.end is not None:
                low[link.after] = max(low[link.after], up(block.end + link.least, grid))
                if link.most is not None and low[link.after] > (block.end + link.most) // grid:
                    return False
                continue
            first = low.get(link.before, self.starts.get(link.before, self.now))
            low[link.after] = max(low[link.after], first + block.size + up(link.least, grid))
            if link.most is not None:
                least = low[link.after] - link.most // grid - block.size
                if link.before in low:
                    low[link.before] = max(first, least)
                elif least > first:
                    return False
        mine: list[tuple[str, int, int]] = []  # what this cluster takes itself
        for number in cluster:
            if all_blocks[number].hands:
                start = self._in_hours(low[number], all_blocks[number].size)
                if start is None:
                    return False
                low[number] = start
        held = sorted({n for number in cluster for n in self.span_of.get(number, ())})
        for name, first, last in sorted(
            (self.spans[n] for n in held), key=lambda one: low.get(one[1], -1)
        ):
            start = low[first] if first in low else self.starts[first]
            end = low[last] + all_blocks[last].size if last in low else OPEN
            free = self._free(name, start, end, mine, first in low)
            if free is None:
                return False
            if free > start:
                low[first] = free
                return True
            mine.append((name, start, end))
        return True

    def _in_hours(self, start: int, size: int) -> int | None:
        number = int(np.searchsorted(self.highs, start + size))
        for low, high in self.hours[number:]:
            at = max(start, low)
            if at + size <= high:
                return at
        return None

    def _free(
        self, name: str, start: int, end: int, mine: Sequence[tuple[str, int, int]], moves: bool
    ) -> int | None:
        """The soonest start from ``start`` on at which a place is free to the end."""
        places = self.problem.shop.places[name] if name else self.problem.shop.people
        if not moves:  # it is held already and its end was left open
            return start
        taken = list(self.used.get(name, {}).values())
        taken += [(a, b) for other, a, b in mine if other == name]
        size, at = end - start, start
        while True:
            inside = [(a, b) for a, b in taken if a < at + size and b > at]
            peak, when = 0, at
            for moment in sorted({max(a, at) for a, _ in inside}):
                load = sum(a <= moment < b for a, b in inside)
                if load >= places:
                    peak, when = load, moment
                    break
            if peak < places:
                return at
            ends = [b for a, b in inside if a <= when < b]
            at = min(ends)
            if at >= OPEN:
                return None

    def _hold(self, found: dict[int, int]) -> None:
        for number in sorted({n for block in found for n in self.span_of.get(block, ())}):
            name, first, last = self.spans[number]
            if first in self.starts:
                block = self.laid.blocks[last]
                end = OPEN
                if block.end is not None:
                    end = up(block.end, self.grid)
                elif last in self.starts:
                    end = self.starts[last] + block.size
                first_at = self.starts[first]
                self.used.setdefault(name, {})[number] = (first_at, end)
