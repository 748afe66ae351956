"""Plans for parcels beside two peers in the same run: trying everything, and the plain habit.

Small plans: seconds of the search against trying every combination, which must find the same.
Larger ones: gain of "one parcel, each item its own best uncounted tier" as a share of the search's,
and seconds of the search with what can be left out left in, as the peer. Invented data.
"""

from __future__ import annotations

import itertools
import random
import time
from fractions import Fraction as F
from typing import Any


def bench() -> dict[str, Any]:
    """Seconds, ratios to the peers, gaps and gains."""
    from quirewell.science.planning.parcel_pruning import prune
    from quirewell.science.planning.parcel_search import every_option, guess, solve
    from quirewell.science.planning.parcels import Problem, broken, total

    rows: dict[str, Any] = {}
    ours = peer = 0.0
    for seed in range(3):
        problem = _plan(5, seed)
        start = time.perf_counter()
        found = solve(problem, every_option(problem))
        ours += time.perf_counter() - start
        start = time.perf_counter()
        best = _everything(problem)
        peer += time.perf_counter() - start
        if best != found.gain:
            raise RuntimeError(f"trying everything finds {best}, the search {found.gain}")
    rows["small"] = {"seconds": round(ours / 3, 4), "by_trying_everything": round(ours / peer, 5)}
    for count, goal in ((20, 0.2), (100, 0.2), (200, 2.0), (500, 15.0)):
        problem = _plan(count, 1)
        times = []
        for _ in range(3 if count <= 100 else 1):
            start = time.perf_counter()
            options = every_option(problem)
            made = time.perf_counter()
            found = solve(problem, options)
            times.append((time.perf_counter() - start, time.perf_counter() - made))
        whole_seconds, seconds = min(times)
        if broken(problem, found.chosen):
            raise RuntimeError("a plan breaks a rule")
        row = {
            "seconds": round(whole_seconds, 3),
            "seconds_of_search": round(seconds, 3),
            "gap": found.gap,
            "options": len(options),
            "kept": len(prune(problem, options, frozenset())),
            "gain_by_habit": round(_habit(problem, options, guess, total, Problem) / found.gain, 3)
            if found.gain
            else None,
            "goal_seconds": goal,
        }
        if count <= 200:
            start = time.perf_counter()
            whole = solve(problem, options, pruned=False)
            row["by_unpruned"] = round(seconds / (time.perf_counter() - start), 3)
            row["unpruned_gap"] = whole.gap
        rows[str(count)] = row
    return rows


def _habit(problem: Any, options: Any, guess: Any, total: Any, make: Any) -> int:
    """One parcel, the first; items that gain most for what they insure first."""
    first = problem.parcels[0]
    free = {tier.name for tier in problem.tiers if tier.minimum <= 1 and tier.maximum is None}
    able = [o for o in options if o.parcel == first.name and o.tier in free and o.gain > 0]
    alone = make(
        problem.items, problem.tiers, (first,), problem.minutes, problem.spend, problem.wait_rate
    )
    return int(total(alone, guess(alone, able)))


def _everything(problem: Any) -> int:
    from quirewell.science.planning.parcels import broken, options_of, total

    lists = [[None, *options_of(problem, item)] for item in problem.items]
    best = 0
    for picks in itertools.product(*lists):
        chosen = {one.item: one for one in picks if one is not None}
        gain = total(problem, chosen)
        if gain > best and not broken(problem, chosen):
            best = gain
    return best


def _plan(count: int, seed: int) -> Any:
    from quirewell.science.planning.parcels import Item, Parcel, Problem, Tier, Way

    r = random.Random(seed)
    few = count < 10
    tiers = (
        Tier("A", 2500, None if few else 15_000, minimum=3 if few else 20, weeks=F(20)),
        Tier("B", 4000, 40_000, weeks=F(12)),
        Tier("C", 7500, 100_000, weeks=F(6)),
        Tier("D", 15_000, 250_000, weeks=F(3)),
        Tier("E", 30_000, weeks=F(1)),
    )[: 2 if few else 5]
    parcels = tuple(
        Parcel(f"P{k}", F(4 * k), 4500, 150, F(6, 1000), 10_000 + count * 2500)
        for k in range(2 if few else 3)
    )
    items = []
    for i in range(count):
        base = r.lognormvariate(9.2, 0.8)
        values = [F(round(base * (0.55 + 0.25 * k))) for k in range(5)]
        points = tuple(zip((F(n, 12) for n in (1, 3, 4, 3, 1)), values, strict=True))
        better = tuple((p, v * F(115, 100)) for p, v in points)
        treated = tuple((p, v * F(14, 10)) for p, v in points)
        ways = (
            Way("as it is", points),
            Way("pressed", r.choice([points, better]), 2100, 30),
            Way("treated", treated, r.randrange(5000, 20_000), 240, F(9, 10)),
        )[: 2 if few else 3]
        now = round(base * r.uniform(0.5, 1))
        items.append(Item(f"i{i:03}", now, ways, None, F(0 if few else r.choice([0, 0, 0, 4, 8]))))
    return Problem(tuple(items), tiers, parcels, minutes=2400, wait_rate=F(2, 1000))
