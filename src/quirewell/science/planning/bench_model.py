"""A plan for the bench: when each work is done, who shares a tray, and how sure that is.

The solver (CP-SAT) proves the soonest end or says what is not excluded; without it, a plain rule
(:mod:`.bench_by_rule`) makes a plan that keeps every rule and proves nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import ModuleType
from typing import Literal

from quirewell.science.planning import bench_by_rule
from quirewell.science.planning.bench_blocks import check, placed, up, wet_waiting
from quirewell.science.planning.bench_check import broken
from quirewell.science.planning.bench_shop import Answer, Problem
from quirewell.science.planning.bench_slack import slack


def plan(
    problem: Problem, *, time_limit_s: float = 10.0, workers: int = 2, seed: int = 0,
    hint: Mapping[str, int] | None = None, by: Literal["solver", "rule"] | str = "solver",
) -> Answer:  # fmt: skip
    """A plan within ``time_limit_s`` [s] of search; ``hint`` are starts of a former plan [min].

    Raises:
        ValueError: what is no problem (a wait for a work that is none, a tray settled amiss).
    """
    check(problem)
    if not problem.works:
        return Answer("proved", (), problem.now, problem.now, 0)
    search = _solver() if by == "solver" else None
    ruled = bench_by_rule.rule(problem)
    if search is None:
        return ruled
    return _solved(problem, search, ruled, time_limit_s, workers, seed, hint)


def _solver() -> ModuleType | None:
    try:
        from quirewell.science.planning import bench_search
    except ImportError:
        return None
    return bench_search


def _solved(
    problem: Problem, search: ModuleType, ruled: Answer, seconds: float, workers: int, seed: int,
    hint: Mapping[str, int] | None,
) -> Answer:  # fmt: skip
    grid = problem.shop.grid_min
    latest, first = None, hint
    if ruled.status == "found" and ruled.makespan is not None:
        latest = up(ruled.makespan, grid)
        first = hint or {one.work: one.start for one in ruled.placed}
    found = search.search(
        problem, time_limit_s=seconds, workers=workers, seed=seed, first=first, latest=latest,
        least=bench_by_rule.soonest_of(problem),
    )  # fmt: skip
    if found.status == "impossible":
        from quirewell.science.planning.bench_conflict import conflict

        return Answer("impossible", conflict=conflict(problem, search.possible, seconds))
    if found.laid is None:
        bound = found.bound * grid if found.bound is not None else None
        if ruled.status == "found":
            assert ruled.makespan is not None
            return replace(ruled, bound=max(bound or 0, ruled.bound or 0))
        return Answer("unknown", bound=bound)
    works = placed(problem, found.laid, found.starts)
    end = max(one.end for one in works)
    bound = end if found.status == "proved" else min(end, found.bound * grid)
    answer = Answer(
        found.status, works, end, bound, wet_waiting(found.laid, found.starts, grid),
        slack=slack(problem, found.laid, found.starts), seconds=found.seconds,
    )  # fmt: skip
    wrong = broken(problem, answer)
    if wrong:
        raise RuntimeError(f"the plan that was found breaks a rule: {'; '.join(wrong[:3])}")
    return answer
