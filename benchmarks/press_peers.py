"""A slab between two faces at once warm, solved by FiPy and py-pde; run in their own environment.

Prints JSON: per program seconds of a warm run and of the first, and the centre at the Fourier
numbers asked for. ``python press_peers.py CELLS FO ...``: unit slab from 0 to 1, diffusivity 1,
both faces held at 1, half thickness 0.5.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

HALF = 0.5


def timed(solve: Callable[[], Any], times: int) -> tuple[float, float, Any]:
    """Seconds of the first run, of the best of so many after it, and what it gave."""
    start = time.perf_counter()
    result = solve()
    first = time.perf_counter() - start
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        result = solve()
        best = min(best, time.perf_counter() - start)
    return first, best, result


def fipy(cells: int, fo: list[float], steps: int) -> list[float]:
    """Implicit steps of even length between the times asked for."""
    from fipy import CellVariable, DiffusionTerm, Grid1D, TransientTerm

    mesh = Grid1D(nx=cells, dx=1.0 / cells)
    value = CellVariable(mesh=mesh, value=0.0)
    value.constrain(1.0, mesh.facesLeft)
    value.constrain(1.0, mesh.facesRight)
    equation = TransientTerm() == DiffusionTerm(coeff=1.0)
    out, now = [], 0.0
    last = fo[-1] * HALF**2
    for each in fo:
        goal = each * HALF**2
        count = max(1, round(steps * (goal - now) / last))
        for _ in range(count):
            equation.solve(var=value, dt=(goal - now) / count)
        now = goal
        both = np.asarray(value.value)
        out.append(float(both[cells // 2 - 1 : cells // 2 + 1].mean()))
    return out


def pypde(cells: int, fo: list[float], how: str) -> list[float]:
    """By scipy's integrator or by explicit compiled steps."""
    import pde

    grid = pde.CartesianGrid([[0, 1]], cells)
    state = pde.ScalarField(grid, 0.0)
    equation = pde.DiffusionPDE(diffusivity=1.0, bc={"x": {"value": 1.0}})
    storage = pde.MemoryStorage()
    times = [each * HALF**2 for each in fo]
    if how == "scipy":
        extra: dict[str, Any] = {"solver": "scipy", "method": "LSODA", "rtol": 1e-6, "atol": 1e-8}
    else:
        extra = {"solver": "explicit", "dt": 0.4 / cells**2}
    tracker = storage.tracker(interrupts=times)
    equation.solve(state, t_range=times[-1], tracker=[tracker], **extra)
    got = {
        round(t, 9): np.asarray(data) for t, data in zip(storage.times, storage.data, strict=True)
    }
    out = []
    for goal in times:
        near = min(got, key=lambda t: abs(t - goal))
        row = got[near]
        out.append(float(row[cells // 2 - 1 : cells // 2 + 1].mean()))
    return out


def main() -> None:
    """Solve by each and print."""
    cells, fo = int(sys.argv[1]), [float(each) for each in sys.argv[2:]]
    rows: dict[str, Any] = {}
    for name, solve, times in (
        ("FiPy, 600 implicit steps", lambda: fipy(cells, fo, 600), 2),
        ("py-pde, scipy LSODA", lambda: pypde(cells, fo, "scipy"), 3),
        ("py-pde, explicit compiled", lambda: pypde(cells, fo, "explicit"), 2),
    ):
        try:
            first, best, centre = timed(solve, times)
            rows[name] = {"first_s": first, "s": best, "centre": centre}
        except Exception as error:  # a peer that cannot is told, not hidden
            rows[name] = {"error": f"{type(error).__name__}: {error}"[:300]}
    print(json.dumps(rows))


if __name__ == "__main__":
    main()
