"""A slab between two faces at once warm, by one of FiPy and py-pde; run in their own environment.

Prints JSON: the centre at the Fourier numbers asked for, and seconds of the processor: of a first
call (its imports and compiling with it), of the best later call, and of the best march once
everything stands compiled, for py-pde compiles anew at every call. Usage: ``python press_peers.py
ROW CELLS FO ...``; unit slab from 0 to 1, diffusivity 1, both faces held at 1, half thickness 0.5.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

HALF = 0.5
# FiPy is first order in time: so many even steps from each time asked for to the next.
STEPS = 400
LSODA = {"method": "LSODA", "rtol": 1e-6, "atol": 1e-8, "lband": 1, "uband": 1}
ROWS: dict[str, dict[str, Any]] = {
    "FiPy, 2400 implicit steps": {},
    "py-pde, scipy's LSODA, numpy": {"solver": "scipy", "backend": "numpy", **LSODA},
    "py-pde, scipy's LSODA, compiled": {"solver": "scipy", "backend": "numba", **LSODA},
    "py-pde, explicit, compiled": {"solver": "euler", "backend": "numba"},
}


def timed(solve: Callable[[], Any], times: int) -> tuple[float, float, Any]:
    """Seconds of the first call, of the best of so many after it, and what it gave."""
    spent = []
    for _ in range(1 + times):
        start = time.process_time()
        result = solve()
        spent.append(time.process_time() - start)
    return spent[0], min(spent[1:]), result


def fipy(cells: int, times: list[float]) -> dict[str, Any]:
    """Implicit steps, each solved directly (tridiagonal)."""
    start = time.process_time()
    from fipy import CellVariable, DiffusionTerm, Grid1D, TransientTerm
    from fipy.solvers import LinearLUSolver

    imports = time.process_time() - start
    mesh = Grid1D(nx=cells, dx=1.0 / cells)
    equation = TransientTerm() == DiffusionTerm(coeff=1.0)
    solver = LinearLUSolver()

    def solve() -> list[float]:
        value = CellVariable(mesh=mesh, value=0.0)
        value.constrain(1.0, mesh.facesLeft)
        value.constrain(1.0, mesh.facesRight)
        out, now = [], 0.0
        for goal in times:
            for _ in range(STEPS):
                equation.solve(var=value, dt=(goal - now) / STEPS, solver=solver)
            now = goal
            out.append(middle(value.value))
        return out

    first, best, centre = timed(solve, 2)
    return {"first_s": imports + first, "call_s": best, "march_s": best, "centre": centre}


def pypde(cells: int, times: list[float], extra: dict[str, Any]) -> dict[str, Any]:
    """By its own ``solve``, and by the stepper which that makes, made once."""
    start = time.process_time()
    import pde
    from pde.solvers import SolverBase

    imports = time.process_time() - start
    grid = pde.CartesianGrid([[0, 1]], cells)
    equation = pde.DiffusionPDE(diffusivity=1.0, bc={"x": {"value": 1.0}})
    dt = 0.4 / cells**2 if extra["solver"] == "euler" else None

    def solve() -> list[float]:
        storage = pde.MemoryStorage()
        equation.solve(
            pde.ScalarField(grid, 0.0), t_range=times[-1], dt=dt,
            tracker=[storage.tracker(interrupts=times)], **extra,
        )  # fmt: skip
        if not np.allclose(storage.times, times, rtol=1e-9):
            raise ValueError(f"kept at {storage.times}, not at {times}")
        return [middle(row) for row in storage.data]

    first, best, centre = timed(solve, 4)
    how = {key: value for key, value in extra.items() if key != "solver"}
    made = SolverBase.from_name(extra["solver"], pde=equation, **how)
    stepper = made.make_stepper(pde.ScalarField(grid, 0.0), dt)

    def march() -> list[float]:
        state, out, now = pde.ScalarField(grid, 0.0), [], 0.0
        for goal in times:
            now = stepper(state, now, goal)
            out.append(middle(state.data))
        return out

    _, compiled, again = timed(march, 15)
    if not np.allclose(again, centre, rtol=0, atol=1e-6):
        raise ValueError(f"the stepper gave {again}, its own solve {centre}")
    return {
        "first_s": imports + first, "call_s": best, "march_s": compiled, "centre": centre,
    }  # fmt: skip


def middle(values: Any) -> float:
    """The centre, between the two middle cells."""
    half = len(values) // 2
    return float(np.asarray(values)[half - 1 : half + 1].mean())


def main() -> None:
    """Solve by the row named, and print."""
    name, cells = sys.argv[1], int(sys.argv[2])
    times = [float(each) * HALF**2 for each in sys.argv[3:]]
    try:
        row = pypde(cells, times, ROWS[name]) if ROWS[name] else fipy(cells, times)
    except Exception as error:  # a peer that cannot is told, not hidden
        row = {"failed": f"{type(error).__name__}: {error}"[:300]}
    print(json.dumps(row))


if __name__ == "__main__":
    main()
