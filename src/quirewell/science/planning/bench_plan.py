"""A shortest schedule of activities with resources, minimum and maximum lags, and how sure it is.

Published project-scheduling instances with such lags (RCPSP/max, `bartusch1988`; without maximum
lags RCPSP, with one-place resources the job shop) run straight through :func:`solve`, with or
without a dummy source and sink of no duration. The solver is CP-SAT; without it a rule is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from quirewell.science.planning.bench_network import Network, network, whole
from quirewell.science.planning.bench_plan_check import check
from quirewell.science.planning.bench_serial import by_rule
from quirewell.science.planning.bench_shop import Status


@dataclass(frozen=True, slots=True)
class Result:
    """A schedule and how sure it is: ``starts`` from 0 on and ``makespan``, the end of the last
    activity, where one was found; no schedule ends before ``bound``; all in the unit of the
    durations. ``by`` tells what made it, ``why`` what makes it impossible."""

    status: Status
    starts: tuple[int, ...] | None = None
    makespan: int | None = None
    bound: int | None = None
    by: Literal["solver", "rule"] = "solver"
    why: str = ""


def solve(
    durations: Any,
    demands: Any,
    capacities: Any,
    lags: Any,
    time_limit_s: float = 60.0,
    workers: int = 2,
    seed: int = 0,
    *,
    by: Literal["solver", "rule"] = "solver",
) -> Result:
    """The earliest end of all activities that is found within the limit on the search [s].

    ``demands``: a row per activity, a number per resource, taken while the activity lasts.
    ``lags``: (i, j, d), start_j >= start_i + d; a negative d is a maximum lag (i at most -d after
    j). A deadline D is (sink, source, -D). From the end of i: add its duration to d. The makespan
    is the end of the last activity, so with a sink after all others, the sink's start.

    "proved": no schedule ends earlier. "found": one that may be beaten, by ``bound`` at best.
    "impossible": proved too. "unknown": nothing found in time (or the rule gave up).
    Decided within the limit, status, makespan and bound are the same at every run; starts, of
    several equally good ones, are the same with one worker and the same seed and versions. With
    more workers starts may differ; cut off by the limit, everything but the truth of what is
    said may. The rule does the same at every run
    and is not bound by the limit (some seconds at 400 activities).

    Input that is no such project raises ValueError with the number that is wrong.

    >>> solve([2, 3], [[1], [1]], [1], [(0, 1, 2)], workers=1).makespan
    5
    """
    if not (math.isfinite(time_limit_s) and time_limit_s > 0):
        raise ValueError(f"time_limit_s is {time_limit_s}; give seconds above 0")
    if whole(workers, "workers") < 1:
        raise ValueError(f"workers is {workers}; give 1 or more")
    if not 0 <= whole(seed, "seed") < 2**31:
        raise ValueError(f"seed is {seed}; give a whole number from 0 to 2147483647")
    if by not in ("solver", "rule"):
        raise ValueError(f'by is {by!r}; "solver" and "rule" are known')
    net = network(durations, demands, capacities, lags)
    if why := impossible_at_sight(net):
        return Result("impossible", by=by, why=why)
    starts, bound = by_rule(net), net.bound
    used: Literal["solver", "rule"] = "rule"
    if by == "solver" and (starts is None or makespan_of(net, starts) > bound):
        answer = _searched(net, starts, time_limit_s, workers, seed)
        if answer == "impossible":
            why = "The lags and the resources cannot be kept together."
            return Result(answer, why=why)
        if answer is not None:
            used, (better, bound) = "solver", answer
            starts = better or starts
    if starts is None:
        return Result("unknown", bound=bound, by=used)
    if broken := check(net.durations, net.demands, net.capacities, net.lags, starts):
        raise RuntimeError(f"the schedule found breaks a rule: {broken[0]}")
    end = makespan_of(net, starts)
    return Result("proved" if end <= bound else "found", starts, end, bound, used)


def makespan_of(net: Network, starts: tuple[int, ...]) -> int:
    """The end of the last activity; 0 where there is none."""
    return max((s + p for s, p in zip(starts, net.durations, strict=True)), default=0)


def impossible_at_sight(net: Network) -> str:
    """Why no schedule exists, where that needs no search; else empty."""
    if net.too_much:
        i, k = net.too_much[0]
        asked, given = net.demands[i][k], net.capacities[k]
        return f"Activity {i} takes {asked} of resource {k}, which has {given}."
    if net.cycle:
        numbers = ", ".join(str(number) for number in net.cycle)
        over = sum(net.lags[number][2] for number in net.cycle)
        return f"The lags numbered {numbers} run in a circle and ask {over} more than there is."
    return ""


def modelled(net: Network, latest: int, optional: frozenset[int] = frozenset()) -> Any:
    """The CP-SAT model of a project that ends by ``latest``, its starts and its makespan, and a
    literal for each lag in ``optional`` (by number) that holds only where the literal does."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    room = not net.heads or bool(optional)
    starts = [
        model.new_int_var(
            0 if room else net.heads[i], latest - (p if room else net.tails[i]), f"s{i}"
        )
        for i, p in enumerate(net.durations)
    ]
    end = model.new_int_var(0 if room else net.bound, latest, "end")
    for start, p in zip(starts, net.durations, strict=True):
        model.add(end >= start + p)
    spans = [
        model.new_fixed_size_interval_var(start, p, f"i{i}")
        for i, (start, p) in enumerate(zip(starts, net.durations, strict=True))
    ]
    for k, capacity in enumerate(net.capacities):
        users = net.users(k)
        asked = [net.demands[i][k] for i in users]
        if sum(asked) <= capacity:
            continue
        if 2 * min(asked) > capacity:
            model.add_no_overlap([spans[i] for i in users])
        else:
            model.add_cumulative([spans[i] for i in users], asked, capacity)
    literals = {}
    for number, (i, j, d) in enumerate(net.lags):
        if i == j:
            continue
        rule = model.add(starts[j] >= starts[i] + d)
        if number in optional:
            literals[number] = model.new_bool_var(f"lag{number}")
            rule.only_enforce_if(literals[number])
    return model, starts, end, literals


def _searched(
    net: Network, known: tuple[int, ...] | None, limit_s: float, workers: int, seed: int
) -> tuple[tuple[int, ...] | None, int] | Literal["impossible"] | None:
    """Starts (None: none found) and bound of the solver; None where there is no solver."""
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        return None
    latest = net.horizon if known is None else makespan_of(net, known)
    if latest < net.bound:
        return "impossible"
    model, starts, end, _ = modelled(net, latest)
    model.minimize(end)
    for var, start in zip(starts, known or (), strict=False):
        model.add_hint(var, start)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = limit_s
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return "impossible"
    if status == cp_model.MODEL_INVALID:
        raise RuntimeError(f"the solver refuses the model: {model.validate()}")
    bound = max(net.bound, math.ceil(solver.best_objective_bound - 1e-6))
    if status == cp_model.UNKNOWN:
        return None, bound if known is not None else net.bound
    return tuple(solver.value(var) for var in starts), bound
