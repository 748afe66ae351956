"""Plans for the bench beside the plain rule and the plain model in the same run.

Nine wraps and a cover each, every length a placeholder: seconds, how sure, how far the bound stands
off, the rule's end against the search's, and the search as it is against the model alone.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any


def bench() -> dict[str, Any]:
    """Seconds, ratios to the peers, gaps."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
    from bench_problems import prototype
    from quirewell.science.planning.bench_check import broken
    from quirewell.science.planning.bench_model import plan
    from quirewell.science.planning.bench_search import alone

    rows: dict[str, Any] = {}
    for name, items, given, limit, goal in (
        ("one", 1, False, 10.0, 1.0),
        ("two", 2, True, 60.0, 15.0),
        ("three", 3, True, 60.0, 60.0),
    ):
        problem = prototype(items, given=given, days=20)
        start = time.perf_counter()
        ruled = plan(problem, by="rule")
        by_rule = time.perf_counter() - start
        start = time.perf_counter()
        found = plan(problem, time_limit_s=limit)
        seconds = time.perf_counter() - start
        if broken(problem, found) or broken(problem, ruled):
            raise RuntimeError("a plan breaks a rule")
        assert found.makespan and found.bound and ruled.makespan
        plain = alone(problem, time_limit_s=min(limit, 20.0))
        rows[name] = {
            "status": found.status,
            "seconds": round(seconds, 2),
            "seconds_of_search": round(found.seconds, 2),
            "goal_seconds": goal,
            "over_bound": round(found.makespan / found.bound - 1, 3),
            "end_by_rule": round(ruled.makespan / found.makespan, 3),
            "seconds_by_rule": round(by_rule, 2),
            "search_to_plain_model": round(found.seconds / plain.seconds, 3),
            "plain_model": plain.status,
        }
    problem = prototype(1)
    found = plan(problem)
    from quirewell.science.planning.bench_shop import Fixed, Problem

    now = max(one.start for one in found.placed if one.work.endswith("/wash")) + 10
    done = tuple(
        Fixed(one.work, one.start, one.end if one.end <= now else None)
        for one in found.placed
        if one.start < now
    )
    again = Problem(problem.works, problem.waits, problem.shop, problem.holds, problem.trays,
                    problem.given, done, now)  # fmt: skip
    start = time.perf_counter()
    hinted = plan(again, hint={one.work: one.start for one in found.placed})
    rows["again"] = {"status": hinted.status, "seconds": round(time.perf_counter() - start, 2),
                     "goal_seconds": 1.0}  # fmt: skip
    return rows
