"""Which maximum lags of an impossible project cannot hold together: a set with none to spare."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from quirewell.science.planning.bench_network import Network, network
from quirewell.science.planning.bench_plan import impossible_at_sight, modelled


@dataclass(frozen=True, slots=True)
class Conflict:
    """``lags``: numbers of maximum lags that conflict with each other, with the minimum lags and
    with the resources; without any one of them the rest of the set can be kept. None of these
    matters where the project is possible, or impossible without any maximum lag ("always").
    "unknown": not decided in time; ``lags`` then conflict, if given, but may have some to spare.
    """

    status: Literal["conflict", "possible", "always", "unknown"]
    lags: tuple[int, ...] = ()


def conflict(
    durations: Any, demands: Any, capacities: Any, lags: Any, time_limit_s: float = 60.0
) -> Conflict:
    """A smallest set in the sense that none can be left out; other sets may conflict besides.

    Assumption literals on the maximum lags give a first set; then each is left out in turn, the
    limit [s] holding for each of these searches. One worker, so that the same project gives the
    same set where the limit is not reached.

    >>> conflict([1, 1], [[1], [1]], [1], [(0, 1, 3), (1, 0, -2)])
    Conflict(status='conflict', lags=(1,))
    """
    net = network(durations, demands, capacities, lags)
    most = [number for number, (_, _, d) in enumerate(net.lags) if d < 0]
    core = _core(net, most, time_limit_s)
    if core is None:
        return Conflict("unknown")
    if core == "possible":
        return Conflict("possible")
    kept = list(core)
    for number in core:
        rest = [other for other in kept if other != number]
        smaller = _core(net, rest, time_limit_s)
        if smaller is None:
            return Conflict("unknown", tuple(kept))
        if smaller != "possible":
            kept = [other for other in kept if other in smaller]
    return Conflict("conflict", tuple(kept)) if kept else Conflict("always")


def _core(
    net: Network, most: Iterable[int], time_limit_s: float
) -> tuple[int, ...] | Literal["possible"] | None:
    """Of the maximum lags ``most``, with all other lags, a set that cannot hold; None: no time."""
    from ortools.sat.python import cp_model

    chosen = set(most)
    numbers = [n for n, (_, _, d) in enumerate(net.lags) if d >= 0 or n in chosen]
    part = network(net.durations, net.demands, net.capacities, [net.lags[n] for n in numbers])
    if impossible_at_sight(part):
        circle = () if part.too_much else part.cycle
        return tuple(sorted(numbers[n] for n in circle if numbers[n] in chosen))
    optional = frozenset(at for at, n in enumerate(numbers) if n in chosen)
    model, _, _, literals = modelled(part, part.horizon, optional)
    model.add_assumptions(list(literals.values()))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = time_limit_s
    status = solver.solve(model)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return "possible"
    if status != cp_model.INFEASIBLE:
        return None
    named = set(solver.sufficient_assumptions_for_infeasibility())
    return tuple(sorted(numbers[at] for at, b in literals.items() if b.index in named))
