"""Searching the constraint model of the bench: soonest end and its bound, then the kindest plan.

First the end alone, from a hint where there is one. Then, with the end kept: the least wet waiting,
and of those plans one whose works of hands end early, so that time left over comes last.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ortools.sat.python import cp_model

from quirewell.science.planning.bench_blocks import Blocks, Run, blocks, placed, up, windows
from quirewell.science.planning.bench_shop import Problem
from quirewell.science.planning.bench_solver import Model, build, hint, runs_found

FIRST_SHARE, FIRST_S = 0.1, 3.0  # of the time, but this long [s], for the plain search
SITTING_SHARE, AGAIN_SHARE = 0.7, 0.15  # for asking after days; for the plain search once more
WET_S, EARLY_S = 2.0, 0.5  # [s] at most for the least wet waiting, and for early ends


@dataclass(slots=True)
class Found:
    """What a search has: tray runs and starts of blocks (units), and the bound (units)."""

    status: str
    runs: tuple[Run, ...] = ()
    laid: Blocks | None = None
    starts: tuple[int, ...] = ()
    bound: int | None = None
    seconds: float = 0.0


def search(
    problem: Problem, *, time_limit_s: float, workers: int, seed: int,
    first: Mapping[str, int] | None, latest: int | None, least: int = 0,
) -> Found:  # fmt: skip
    """The soonest plan: proved, found, impossible or unknown. ``first`` are starts [min] to begin
    from; ``latest`` (units) an end that is known to be possible; no plan ends before ``least``."""
    made = build(problem, latest=latest)
    if first:
        hint(made, first)
    if latest is None or least <= latest:
        made.cp.add(made.end >= least)
    made.cp.minimize(made.end)
    solver = _solver(_first_s(time_limit_s), workers, seed)
    status = solver.solve(made.cp)
    if status == cp_model.INFEASIBLE:
        return Found("impossible")
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return Found("unknown", bound=_bound(solver))
    out = Found("proved" if status == cp_model.OPTIMAL else "found")
    out.bound = _bound(solver)
    out.runs, out.laid, out.starts = _read(made, solver)
    out.seconds = solver.wall_time
    if out.status == "found":
        _sooner(problem, out, time_limit_s, workers, seed)
    if out.status == "found":
        _again(problem, out, AGAIN_SHARE * time_limit_s, workers, seed)
    return kinder(problem, out, max(time_limit_s - out.seconds, 0.5), workers, seed)


def alone(problem: Problem, *, time_limit_s: float, workers: int = 2, seed: int = 0) -> Found:
    """The model by itself, no start and no bound given: the peer a benchmark sets beside."""
    made = build(problem)
    made.cp.minimize(made.end)
    solver = _solver(time_limit_s, workers, seed)
    status = solver.solve(made.cp)
    said = {cp_model.OPTIMAL: "proved", cp_model.FEASIBLE: "found"}.get(status, "unknown")
    return Found(said, bound=_bound(solver), seconds=solver.wall_time)


def _sooner(problem: Problem, out: Found, seconds: float, workers: int, seed: int) -> None:
    """Ask whether all can end on the first day that is not excluded, with the lengths of stretches
    of hours as rules of their own: ends come in nights, so a no is worth a night."""
    stop = (FIRST_SHARE + SITTING_SHARE) * seconds
    while out.seconds < stop:
        assert out.laid is not None and out.bound is not None
        goes_on = {link.before for link in out.laid.links}
        last = [one for i, one in enumerate(out.laid.blocks) if i not in goes_on]
        if not all(one.hands and one.start is None for one in last):
            return
        end = _end(out.laid, out.starts, problem.shop.grid_min)
        least = min(one.size for one in last)
        stretches = windows(problem)
        low = max((a for a, _ in stretches if a + least <= end), default=0)
        open_ends = [b for _, b in stretches if out.bound <= b <= low]
        if not open_ends:
            break
        grid = problem.shop.grid_min
        day = (open_ends[0] * grid - 1) // 1440
        before = max(b for b in open_ends if (b * grid - 1) // 1440 == day)
        made = build(problem, latest=before, sitting=True)
        solver = _solver(stop - out.seconds, workers, seed)
        status = solver.solve(made.cp)
        out.seconds += solver.wall_time
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            out.runs, out.laid, out.starts = _read(made, solver)
            continue
        if status != cp_model.INFEASIBLE:
            break
        out.bound = max(out.bound, min(a for a, _ in stretches if a >= before) + least)
    assert out.laid is not None and out.bound is not None
    if _end(out.laid, out.starts, problem.shop.grid_min) <= out.bound:
        out.status = "proved"


def _again(problem: Problem, out: Found, seconds: float, workers: int, seed: int) -> None:
    """The plain search once more, from the best plan so far and with the bound so far."""
    assert out.laid is not None and out.bound is not None
    grid = problem.shop.grid_min
    made = build(problem, latest=_end(out.laid, out.starts, grid))
    hint(made, {one.work: one.start for one in placed(problem, out.laid, out.starts)})
    made.cp.add(made.end >= out.bound)
    made.cp.minimize(made.end)
    solver = _solver(seconds, workers, seed)
    status = solver.solve(made.cp)
    out.seconds += solver.wall_time
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        out.runs, out.laid, out.starts = _read(made, solver)
        out.bound = max(out.bound, _bound(solver))
        out.status = "proved" if status == cp_model.OPTIMAL else "found"


def kinder(problem: Problem, found: Found, seconds: float, workers: int, seed: int) -> Found:
    """The same trays and end: least wet waiting, then works of hands as early as can be."""
    assert found.laid is not None
    grid = problem.shop.grid_min
    last = _end(found.laid, found.starts, grid)
    made = build(problem, latest=last, settled=found.runs)
    _start_from(made, found.starts)
    wet = sum(gap * count for gap, count in made.gaps)
    if made.gaps:
        made.cp.minimize(wet)
        solver = _solver(min(WET_S, seconds / 2), workers, seed)
        if solver.solve(made.cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            found.starts = _values(made, solver)
            made.cp.add(wet <= round(solver.objective_value))
            made.cp.clear_hints()  # type: ignore[no-untyped-call]
            _start_from(made, found.starts)
    made.cp.minimize(sum(end for _, end, _, _ in made.hands))
    solver = _solver(min(EARLY_S, seconds / 4), workers, seed)
    if solver.solve(made.cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        found.starts = _values(made, solver)
    return found


def possible(problem: Problem, without: Sequence[tuple[str, str]], seconds: float) -> bool | None:
    """Whether there is a plan at all once these rules are left out; None where that stays open."""
    made = build(problem, without=without)
    solver = _solver(seconds, 1, 0)
    status = solver.solve(made.cp)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return True
    return False if status == cp_model.INFEASIBLE else None


def _first_s(seconds: float) -> float:
    return max(FIRST_SHARE * seconds, min(FIRST_S, seconds / 2))


def _solver(seconds: float, workers: int, seed: int) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(seconds, 0.05)
    solver.parameters.num_workers = max(1, workers)
    solver.parameters.random_seed = seed
    return solver


def _bound(solver: cp_model.CpSolver) -> int:
    return -int(-solver.best_objective_bound // 1)


def _end(laid: Blocks, starts: Sequence[int], grid: int) -> int:
    ends = [
        start + one.size if one.end is None else up(one.end, grid)
        for one, start in zip(laid.blocks, starts, strict=True)
    ]
    return max(ends, default=0)


def _values(made: Model, solver: cp_model.CpSolver) -> tuple[int, ...]:
    return tuple(one if isinstance(one, int) else solver.value(one) for one in made.starts)


def _read(made: Model, solver: cp_model.CpSolver) -> tuple[Any, Blocks, tuple[int, ...]]:
    """Runs, blocks and starts of a solution, each run a block."""
    values = _values(made, solver)
    runs = runs_found(made, solver.value)
    laid = blocks(made.problem, runs)
    return runs, laid, tuple(values[made.laid.of[one.works[0]]] for one in laid.blocks)


def _start_from(made: Model, starts: Sequence[int]) -> None:
    for one, start in zip(made.starts, starts, strict=True):
        if not isinstance(one, int):
            made.cp.add_hint(one, start)
