"""The press: a slab beside FiPy and py-pde, a stack beside scipy's other solvers, a whole band.

The slab: 200 cells, both faces at once warm, its centre at six Fourier numbers against the exact
series (``crank1975``). Peers live in an environment of their own (``make bench`` builds it); where
it is missing, the result says so. Seconds are the best of several after a first run, which for
compiled programs is told apart.
"""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PEERS = HERE.parent / ".venv-press" / "bin" / "python"
CELLS, FOURIER = 200, (0.05, 0.1, 0.2, 0.3, 0.5, 1.0)


def _best(call: Callable[[], Any], times: int = 7) -> tuple[float, Any]:
    spent, result = [], call()
    for _ in range(times):
        start = time.perf_counter()
        result = call()
        spent.append(time.perf_counter() - start)
    return min(spent), result


def _exact() -> list[float]:
    from math import cos, exp, pi

    def centre(fo: float) -> float:
        odd = [2 * n + 1 for n in range(60)]
        return 1 - sum(
            4 / pi * (-1) ** n / k * exp(-((k * pi / 2) ** 2) * fo) * cos(0)
            for n, k in enumerate(odd)
        )

    return [centre(fo) for fo in FOURIER]


def _slab(relative: float) -> list[float]:
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


def _slabs() -> dict[str, Any]:
    exact = _exact()

    def error(centre: list[float]) -> float:
        return max(abs(a - b) for a, b in zip(centre, exact, strict=True))

    rows: dict[str, Any] = {}
    for name, relative in (("as a press is followed", 1e-6), ("tighter", 1e-9)):
        seconds, centre = _best(lambda relative=relative: _slab(relative))
        rows[name] = {"s": seconds, "error": error(centre)}
    if not PEERS.is_file():
        return {**rows, "peers": "not measured: make bench builds their environment"}
    run = subprocess.run(
        [str(PEERS), "-W", "ignore", str(HERE / "press_peers.py"), str(CELLS),
         *(f"{fo:g}" for fo in FOURIER)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    peers = json.loads(run.stdout.strip().splitlines()[-1])
    for name, one in peers.items():
        if "error" not in one:
            one["error"] = error(one.pop("centre"))
        rows[name] = one
    quickest = min(one["s"] for one in peers.values() if "s" in one)
    own = [rows[name] for name in ("as a press is followed", "tighter")]
    least = min(one["error"] for one in peers.values() if "s" in one)
    rows["times_faster_than_the_quicker_peer"] = quickest / own[0]["s"]
    rows["times_faster_at_no_more_error"] = next(
        (quickest / one["s"] for one in own if one["error"] <= least), None
    )
    return rows


def bench() -> dict[str, Any]:
    """Seconds, errors and ratios."""
    import numpy as np
    from scipy.integrate import solve_ivp

    from quirewell.science.press.band import DRAWS, band
    from quirewell.science.press.course import follow
    from quirewell.science.press.kernel import rates
    from quirewell.science.press.stack import Side, cut, faces_of
    from quirewell.stages.press_entry import params_of, read_pressing

    stacks = HERE.parent / "examples" / "stacks"

    def read(name: str) -> Any:
        return read_pressing(params_of((stacks / name).read_text(encoding="utf-8"), name))

    case = replace(read("case-a.toml"), minutes=30.0)
    hot, _ = _best(lambda: follow(replace(case, cooling="none")))
    cooled, _ = _best(lambda: follow(case))
    whole, _ = _best(lambda: band(read("practice.toml")), 3)

    cells = cut(case.stack)
    faces = faces_of(case.stack, Side(case.platen_c), Side(None))
    start = np.zeros(2 * len(cells.cells) + 4)
    start[2:-2:2], start[3:-2:2] = cells.start_c, cells.start_w
    count = len(start)
    near = np.abs(np.subtract.outer(np.arange(count), np.arange(count))) <= 3

    def change(t: float, y: Any) -> Any:
        out = np.empty(count)
        rates(y, cells.cells, faces, out)
        return out

    def other(method: str, **more: Any) -> Any:
        return solve_ivp(change, (0, 1800.0), start, method, rtol=1e-6, atol=1e-6, **more).y[:, -1]

    own = follow(replace(case, cooling="none"))
    sheets = 2 + 2 * cells.sheets
    solvers = {}
    for name, more in (
        ("BDF", {"jac_sparsity": near}), ("LSODA", {"lband": 3, "uband": 3}),
    ):  # fmt: skip
        seconds, last = _best(lambda name=name, more=more: other(name, **more), 3)
        solvers[name] = {
            "times_ours": seconds / hot,
            "largest_difference_k": float(np.abs(last[sheets] - own.temperature_c[-1]).max()),
        }
    return {
        "slab_of_200_cells": _slabs(),
        "stack_30_min_s": hot,
        "stack_30_min_and_cooling_s": cooled,
        "band_runs": DRAWS,
        "band_s": whole,
        "scipy_on_the_same_equations": solvers,
    }
