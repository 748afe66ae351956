"""Do a calibrated press's bands hold the truth, and how much narrower are they?

Presses planted within the bounds, a dummy's centre logged with a constant offset (1 C), noise
(0.2 C) and weighed (1.7 g/m2, a kitchen scale): how many of the 90 % bands hold the planted answer,
and their mean width by that of the band before.
"""

from __future__ import annotations

import time
from typing import Any

SHOWN = ("centre_c", "lost_g_m2", "cool_u", "rh_max")


def bench(plantings: int = 60) -> dict[str, Any]:
    """Share of bands that hold, their width by the uncalibrated, and seconds of a fit."""
    import numpy as np

    from quirewell.science.press.calibrate import Marks, Weighed, calibrate, lost, read
    from quirewell.science.press.course import answers, follow
    from quirewell.science.press.known import Bounds, draws_of, knobs_of
    from quirewell.stages.press_entry import read_pressing

    pressing = read_pressing({"start_rh_pct": "70"})
    rng = np.random.default_rng(1936)
    hidden = knobs_of(Bounds(), 64)
    prior = [answers(follow(pressing, knobs)) for knobs in hidden]
    held: dict[str, list[bool]] = {name: [] for name in SHOWN}
    width: dict[str, list[float]] = {name: [] for name in SHOWN}
    seconds, contradicted = [], 0

    def span(runs: list[Any], name: str) -> Any:
        return np.percentile([getattr(run, name) for run in runs], (5, 95))

    for number in range(plantings):
        truth = follow(pressing, hidden[number])
        t_s = np.arange(0.0, 3600.0, 10.0)
        values = read(truth, "centre", "C", t_s) + rng.normal(0, 1.0) + rng.normal(0, 0.2, len(t_s))
        weight = Weighed(lost(truth, None) + rng.normal(0, 1.7), 1.7)
        start = time.perf_counter()
        fitted = calibrate(pressing, (Marks("centre", "C", t_s, values, 1.0),), weight)
        seconds.append(time.perf_counter() - start)
        contradicted += bool(fitted.against)
        after = [answers(follow(pressing, knobs)) for knobs in draws_of(fitted.known, 64)]
        for name in SHOWN:
            low, high = span(after, name)
            was = span(prior, name)
            held[name].append(bool(low <= getattr(answers(truth), name) <= high))
            width[name].append((high - low) / (was[1] - was[0]))
    return {
        "plantings": plantings,
        "contradicted": contradicted,
        "held_of_90_pct_bands": {name: float(np.mean(held[name])) for name in SHOWN},
        "width_by_uncalibrated": {name: float(np.mean(width[name])) for name in SHOWN},
        "seconds_of_a_fit": float(np.median(seconds)),
    }
