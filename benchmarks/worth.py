"""A value with its interval, beside the same jackknife+ by scipy's own fits made again one by one.

The peer refits a straight line (``scipy.stats.linregress``) and an isotonic regression
(``scipy.optimize``) without each record, and takes the ranks; ours also chooses between line and
curve, looks for a trend, and gives mean and uncertainties. Invented sales.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np


def bench(repeats: int = 25) -> dict[str, Any]:
    """Milliseconds by number of sales, ratio to the peer, and how far the two bands lie apart."""
    from quirewell.science.planning.worth import Sale, worth

    rows: dict[str, Any] = {}
    for count in (8, 15, 30, 60):
        rng = np.random.default_rng(count)
        grades = np.round(2 * rng.uniform(1, 9, count)) / 2
        logs = 3 + 0.25 * grades + 0.3 * rng.normal(size=count)
        years = -rng.uniform(0, 5, count)
        sales = [
            Sale(float(g), math.exp(y), float(t))
            for g, y, t in zip(grades, logs, years, strict=True)
        ]
        level = 0.9 if count >= 9 else 0.8
        ours = _timed(lambda sales=sales: worth(5.0, sales), repeats)
        peer = _timed(lambda g=grades, y=logs, a=level: _refitted(g, y, 5.0, a), repeats)
        found, theirs = worth(5.0, sales), _refitted(grades, logs, 5.0, level)
        rows[f"{count}_sales"] = {
            "milliseconds": round(1000 * ours, 2),
            "by_peer": round(ours / peer, 3),
            "model": found.model,
            "log_width": round(math.log(found.band.high / found.band.low), 2),
            "log_width_of_peers_line": round(theirs["line"], 2),
            "log_width_of_peers_isotonic": round(theirs["isotonic"], 2),
        }
    return rows | {"goal_milliseconds": 20}


def _timed(call: Callable[[], Any], repeats: int) -> float:
    call()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _refitted(grades: Any, logs: Any, at: float, level: float) -> dict[str, float]:
    """Width of the jackknife+ band by refits, for each kind of fit."""
    from scipy.optimize import isotonic_regression
    from scipy.stats import linregress

    def straight(x: Any, y: Any, asked: list[float]) -> Any:
        found = linregress(x, y)
        return found.intercept + found.slope * np.array(asked)

    def isotonic(x: Any, y: Any, asked: list[float]) -> Any:
        there, which, counts = np.unique(x, return_inverse=True, return_counts=True)
        means = np.bincount(which, y) / counts
        return np.interp(asked, there, isotonic_regression(means, weights=counts).x)

    count = len(grades)
    rank = math.ceil(level * (count + 1) - 1e-9)
    out = {}
    for name, fit in (("line", straight), ("isotonic", isotonic)):
        ends = []
        for i in range(count):
            kept = np.arange(count) != i
            value, mine = fit(grades[kept], logs[kept], [at, float(grades[i])])
            miss = abs(float(logs[i]) - mine)
            ends.append((value - miss, value + miss))
        low = sorted(one for one, _ in ends)[count - rank]
        high = sorted(one for _, one in ends)[rank - 1]
        out[name] = float(high - low)
    return out
