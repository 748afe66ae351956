"""The press: a slab beside FiPy and py-pde, a stack beside scipy's other solvers, a whole band.

The slab: 200 cells, both faces at once warm, its centre at six Fourier numbers against the exact
series (``crank1975``). Peers live in an environment of their own (``make bench`` builds it); where
it is missing, the result says so. ``march_s`` is the best of several marches with everything
compiled, ``call_s`` the best whole call after the first (py-pde compiles anew at each),
``first_s`` the first call of a process. A peer is held against the quickest of ours whose error
is no greater than its own; ours carries water beside heat, two unknowns a cell, the peers one.
Seconds are the processor's, so that waiting on a shared machine is nobody's; no program here uses
more than one core.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PEERS = HERE.parent / ".venv-press" / "bin" / "python"
PEER_ROWS = (
    "FiPy, 2400 implicit steps",
    "py-pde, scipy's LSODA, numpy",
    "py-pde, scipy's LSODA, compiled",
    "py-pde, explicit, compiled",
)
ONE_CORE = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
CELLS, FOURIER = 200, (0.05, 0.1, 0.2, 0.3, 0.5, 1.0)
# Relative tolerances; a press is followed at the third.
TOLERANCES = (1e-4, 1e-5, 1e-6, 1e-7, 1e-9)
GOAL_TIMES, GOAL_RUN_S, GOAL_BAND_S, GOAL_K = 25.0, 0.1, 3.0, 1e-3


def _best(call: Callable[[], Any], times: int = 15) -> tuple[float, Any]:
    """Seconds of the best of so many after a first call, and what it gave."""
    spent, result = [], call()
    for _ in range(times):
        start = time.process_time()
        result = call()
        spent.append(time.process_time() - start)
    return min(spent), result


def _exact() -> list[float]:
    """The series at the centre of a slab, 0 cold and 1 warm."""
    from math import exp, pi

    def centre(fo: float) -> float:
        odd = [(2 * n + 1) * pi / 2 for n in range(200)]
        return 1 - sum(2 * (-1) ** n / k * exp(-k * k * fo) for n, k in enumerate(odd))

    return [centre(fo) for fo in FOURIER]


def slab(relative: float) -> list[float]:
    """The centre by our own cells and march, at a relative tolerance."""
    import numpy as np

    from quirewell.science.press import kernel as k
    from quirewell.science.press.march import march

    length, rho, heat, conducts = 0.01, 700.0, 1400.0, 0.15
    cells = np.zeros((CELLS, k.CELL))
    cells[:, [k.KIND, k.DX, k.RHO, k.HEAT, k.LAMBDA, k.MU]] = (
        k.TIGHT, length / CELLS, rho, heat, conducts, 1e9,
    )  # fmt: skip
    faces = np.zeros((2, k.FACE))
    faces[:, k.FACE_C], faces[:, k.FACE_H] = 40.0, 1e9
    seconds = [fo * (length / 2) ** 2 * rho * heat / conducts for fo in FOURIER]
    found = march(
        cells, faces, np.full(CELLS, 20.0), np.zeros(CELLS), np.array([0.0, *seconds]), relative
    )
    middle = found.temperature_c[1:, CELLS // 2 - 1 : CELLS // 2 + 1].mean(axis=1)
    return [float(one) for one in (middle - 20.0) / 20.0]


def _first(cache: str | None) -> float:
    """Seconds of the first slab in a new process, imports with it; compiled anew in ``cache``."""
    asked = "import time; t = time.process_time(); import press; press.slab(1e-6)"
    run = subprocess.run(
        [sys.executable, "-c", f"{asked}; print(time.process_time() - t)"],
        cwd=HERE, env={**os.environ, **({"NUMBA_CACHE_DIR": cache} if cache else {})},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return float(run.stdout)


def _slabs() -> dict[str, Any]:
    exact = _exact()

    def error(centre: list[float]) -> float:
        return max(abs(a - b) for a, b in zip(centre, exact, strict=True))

    ours: dict[str, Any] = {}
    for relative in TOLERANCES:
        seconds, centre = _best(lambda relative=relative: slab(relative), 25)
        ours[f"{relative:g}"] = {"march_s": seconds, "error": error(centre)}
    with tempfile.TemporaryDirectory() as empty:
        first = {"first_compiling_s": _first(empty), "first_s": _first(None)}
    out: dict[str, Any] = {"ours_by_relative_tolerance": ours, "ours_first": first}
    if not PEERS.is_file():
        return {**out, "peers": "not measured: their environment is missing, make bench builds it"}
    peers = {}
    for name in PEER_ROWS:
        run = subprocess.run(
            [str(PEERS), "-W", "ignore", str(HERE / "press_peers.py"), name, str(CELLS),
             *(f"{fo:g}" for fo in FOURIER)],
            capture_output=True, text=True, check=False, env={**os.environ, **ONE_CORE},
        )  # fmt: skip
        if run.returncode:
            peers[name] = {"failed": f"ended with {run.returncode}: {run.stderr[-300:]}"}
            continue
        row = peers[name] = json.loads(run.stdout.strip().splitlines()[-1])
        if "failed" in row:
            continue
        row["error"] = error(row.pop("centre"))
        able = [one["march_s"] for one in ours.values() if one["error"] <= row["error"]]
        if able:
            row["our_march_s_at_no_more_error"] = min(able)
            row["march_over_ours"] = row["march_s"] / min(able)
            row["call_over_ours"] = row["call_s"] / min(able)
    if any("march_over_ours" not in row for row in peers.values()):
        return {
            **out,
            "peers": peers,
            "least": "not told: a peer failed, or ours was never as near",
        }
    least = {
        key: min(row[key] for row in peers.values())
        for key in ("march_over_ours", "call_over_ours")
    }
    met = {key: value >= GOAL_TIMES for key, value in least.items()}
    return {**out, "peers": peers, "least": least, "least_met_25": met}


def _solvers(case: Any) -> dict[str, Any]:
    """The stack's 30 minutes on the same compiled rates, output times and tolerances."""
    import numpy as np
    from scipy.integrate import solve_ivp

    from quirewell.science.press.kernel import rates
    from quirewell.science.press.march import KELVINS, KG_M3, RELATIVE, march
    from quirewell.science.press.stack import Side, cut, faces_of

    cut_up = cut(case.stack)
    cells, faces = cut_up.cells, faces_of(case.stack, Side(case.platen_c), Side(None))
    times = np.linspace(0, 60 * case.minutes, 91)
    count = 2 * len(cells) + 4
    start = np.zeros(count)
    start[2:-2:2], start[3:-2:2] = cut_up.start_c, cut_up.start_w
    near = np.abs(np.subtract.outer(np.arange(count), np.arange(count))) <= 3
    floor = np.full(count, KELVINS)
    floor[1::2], floor[0], floor[-2] = KG_M3, 1.0, 1.0

    def change(t: float, y: Any) -> Any:
        out = np.empty(count)
        rates(y, cells, faces, out)
        return out

    own_s, own = _best(lambda: march(cells, faces, cut_up.start_c, cut_up.start_w, times))
    out: dict[str, Any] = {"cells": len(cells), "ours_s": own_s}
    for name, more in (("BDF", {"jac_sparsity": near}), ("LSODA", {"lband": 3, "uband": 3})):
        seconds, found = _best(
            lambda name=name, more=more: solve_ivp(
                change, (0, times[-1]), start, name, t_eval=times, rtol=RELATIVE, atol=floor, **more
            ),
            7,
        )
        off = float(np.abs(found.y[2:-2:2].T - own.temperature_c).max())
        out[name] = {
            "s": seconds, "over_ours": seconds / own_s, "largest_difference_k": off,
            "within_1e-3_k": off <= GOAL_K,
        }  # fmt: skip
    return out


def bench() -> dict[str, Any]:
    """Seconds, errors and ratios, and which goals they meet."""
    from quirewell.science.press.band import DRAWS, band
    from quirewell.science.press.course import follow
    from quirewell.stages.press_entry import params_of, read_pressing

    stacks = HERE.parent / "examples" / "stacks"

    def read(name: str) -> Any:
        return read_pressing(params_of((stacks / name).read_text(encoding="utf-8"), name))

    case = replace(read("case-a.toml"), minutes=30.0)
    alone = replace(case, cooling="none")
    practice = read("practice.toml")
    hot, _ = _best(lambda: follow(alone))
    cooled, _ = _best(lambda: follow(case))
    whole, _ = _best(lambda: band(practice), 5)
    return {
        "slab_of_200_cells": _slabs(),
        "stack_30_min": {"s": hot, "within_0.1_s": hot <= GOAL_RUN_S},
        "stack_30_min_and_cooling": {"s": cooled, "within_0.1_s": cooled <= GOAL_RUN_S},
        "band": {"runs": DRAWS, "s": whole, "within_3_s": whole <= GOAL_BAND_S},
        "scipy_on_the_same_equations": _solvers(alone),
    }


if __name__ == "__main__":
    print(json.dumps(bench(), indent=2))
