"""Shortest schedules beside two peers in the same run, which must find the same.

Small projects (a window of baths, random ones): seconds of the search against a time-indexed linear
model in HiGHS that is given the optimum's horizon and a fifth more. The published job shops ft06
and la01: against the bare model in the same solver, with no rule before it and no paths.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from typing import Any

import numpy as np

Project = tuple[list[int], list[list[int]], list[int], list[tuple[int, int, int]]]


def bench() -> dict[str, Any]:
    """Seconds of the search and, as ratios, its share of each peer's."""
    import sys
    from pathlib import Path

    from quirewell.science.planning.bench_plan import solve

    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from project_cases import baths, job_shop

    solve([1], [[1]], [1], [])
    _bare(([1], [[1]], [1], []))
    rows: dict[str, Any] = {}
    for name, project in (("baths_3_in_2_trays", _fives(baths(3, 2, 30))), ("ten_works", _ten())):
        seconds, found = _timed(lambda p=project: solve(*p).makespan)
        peer, other = _timed(lambda p=project, e=found: _time_indexed(p, e + e // 5))
        rows[name] = _row(seconds, found, "of_time_indexed_milp", peer, other)
    for name in ("ft06", "la01"):
        shop = job_shop(name)[0]
        seconds, found = _timed(lambda p=shop: solve(*p).makespan)
        peer, other = _timed(lambda p=shop: _bare(p))
        rows[name] = _row(seconds, found, "of_bare_model", peer, other)
        rule = solve(*shop, by="rule").makespan
        rows[name]["end_by_rule"] = round(rule / found, 3)
    return rows


def _row(seconds: float, found: int, name: str, peer: float, other: int) -> dict[str, Any]:
    if found != other:
        raise RuntimeError(f"the search ends at {found}, the peer at {other}")
    return {"seconds": round(seconds, 4), name: round(seconds / peer, 5), "makespan": found}


def _timed(run: Callable[[], int]) -> tuple[float, int]:
    """Least seconds of three runs, and what was found."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        found = run()
        times.append(time.perf_counter() - start)
    return min(times), found


def _fives(project: Project) -> Project:
    """The same in units of five minutes: fewer moments, in the linear model's favour."""
    durations, demands, capacities, lags = project
    return [p // 5 for p in durations], demands, capacities, [(i, j, d // 5) for i, j, d in lags]


def _ten() -> Project:
    """Ten works, two resources, lags that leave a schedule."""
    draw = random.Random(4)
    durations = [draw.randint(1, 8) for _ in range(10)]
    demands = [[draw.randint(0, 3), draw.randint(0, 3)] for _ in durations]
    lags = []
    for j in range(1, 10):
        i = draw.randrange(j)
        lags += [(i, j, durations[i]), (j, i, -durations[i] - 25)]
    return durations, demands, [4, 4], lags


def _time_indexed(project: Project, horizon: int) -> int:
    """The least makespan by one binary for each activity and moment, in HiGHS."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import lil_array

    durations, demands, capacities, lags = project
    count, moments = len(durations), horizon + 1
    size = count * moments + 1
    rows: list[dict[int, float]] = []
    low: list[float] = []
    high: list[float] = []

    def rule(row: dict[int, float], least: float, most: float) -> None:
        rows.append(row)
        low.append(least)
        high.append(most)

    for i, p in enumerate(durations):
        rule({i * moments + t: 1.0 for t in range(moments)}, 1, 1)
        rule({i * moments + t: -(t + p) for t in range(moments)} | {size - 1: 1.0}, 0, np.inf)
    for i, j, d in lags:
        row = {j * moments + t: float(t) for t in range(moments)}
        rule(row | {i * moments + t: -float(t) for t in range(moments)}, d, np.inf)
    for k, capacity in enumerate(capacities):
        for t in range(moments):
            row = {
                i * moments + s: float(demands[i][k])
                for i, p in enumerate(durations)
                if demands[i][k]
                for s in range(max(0, t - p + 1), t + 1)
            }
            rule(row, 0, capacity)
    matrix = lil_array((len(rows), size))
    for at, row in enumerate(rows):
        for column, value in row.items():
            matrix[at, column] = value
    cost = np.zeros(size)
    cost[-1] = 1
    whole = np.ones(size)
    found = milp(
        cost,
        constraints=LinearConstraint(matrix.tocsr(), low, high),
        integrality=whole,
        bounds=Bounds(np.zeros(size), np.append(np.ones(size - 1), horizon)),
    )
    if found.status != 0:
        raise RuntimeError(f"the linear model found no proof: {found.message}")
    return round(found.fun)


def _bare(project: Project) -> int:
    """The least makespan by the plain model: no rule first, no paths, no bounds."""
    from ortools.sat.python import cp_model

    durations, demands, capacities, lags = project
    model = cp_model.CpModel()
    last = sum(durations) + sum(max(d, 0) for _, _, d in lags)
    starts = [model.new_int_var(0, last, "") for _ in durations]
    spans = [
        model.new_fixed_size_interval_var(start, p, "")
        for start, p in zip(starts, durations, strict=True)
    ]
    for k, capacity in enumerate(capacities):
        model.add_cumulative(spans, [row[k] for row in demands], capacity)
    for i, j, d in lags:
        model.add(starts[j] >= starts[i] + d)
    end = model.new_int_var(0, last, "end")
    for start, p in zip(starts, durations, strict=True):
        model.add(end >= start + p)
    model.minimize(end)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 2
    if solver.solve(model) != cp_model.OPTIMAL:
        raise RuntimeError("the bare model found no proof")
    return round(solver.objective_value)
