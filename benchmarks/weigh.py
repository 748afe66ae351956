"""Options weighed beside a plain Monte Carlo in the same run: time, and how near each comes.

The peer draws every number afresh for each option (100 000 draws) and takes means, as a
spreadsheet's own draws would. Ours sums means exactly, and draws 20 000 states of the world once
for all options, for what may come instead. Told: the times by the peer's, the peer's error of a
mean, and the draws it would need for half a hundredth. Invented data.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

DRAWS = 100_000


def bench(repeats: int = 7) -> dict[str, Any]:
    """Milliseconds, ratios to the peer, and the peer's error of a mean gain."""
    from quirewell.science.planning.weigh import gain
    from quirewell.science.planning.weigh_risk import risks

    rows: dict[str, Any] = {}
    for repairs in (2, 5, 8):
        case = _case(repairs)
        allowed = tuple(range(len(case.options)))
        means = _timed(partial(_means, case), repeats)
        ours = _timed(partial(risks, case), repeats)
        looked = _timed(partial(_changes, case, allowed), max(repeats // 3, 1))
        peer = _timed(partial(_plain, case, 0), repeats)
        apart = [
            abs(mean - gain(case, option))
            for (mean, _), option in zip(_plain(case, 1), case.options, strict=True)
        ]
        errors = [error for _, error in _plain(case, 1)]
        if any(a > 5 * e + 1e-9 for a, e in zip(apart, errors, strict=True)):
            raise RuntimeError(f"the plain drawing lies {apart} from the exact means")
        rows[f"{repairs}_repairs"] = {
            "milliseconds_means": round(1000 * means, 2),
            "milliseconds_risks": round(1000 * ours, 1),
            "milliseconds_what_would_change": round(1000 * looked, 1),
            "risks_by_peer": round(ours / peer, 3),
            "means_by_peer": round(means / peer, 5),
            "peer_error_of_a_mean": round(max(errors), 3),
            "peer_draws_for_half_a_hundredth": int(DRAWS * (max(errors) / 0.005) ** 2),
        }
    return rows | {"peer_draws": DRAWS}


def _means(case: Any) -> list[float]:
    from quirewell.science.planning.weigh import gain

    return [gain(case, one) for one in case.options]


def _changes(case: Any, allowed: tuple[int, ...]) -> Any:
    from quirewell.science.planning.weigh_change import inputs, turns, worth_knowing

    return turns(case, allowed), [worth_knowing(case, allowed, one) for one in inputs(case)]


def _timed(call: Callable[[], Any], repeats: int) -> float:
    call()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _case(repairs: int) -> Any:
    from quirewell.science.planning.weigh import Case, Condition, Guess, Option, Prices, Terms

    rng = np.random.default_rng(repairs)
    now = rng.integers(2, 9, 2000)
    lift = rng.integers(0, 3, (repairs, 2000))
    rows = [
        np.minimum(now + sum(lift[b] * (row >> b & 1) for b in range(repairs)), 19)
        for row in range(1 << repairs)
    ]
    grades = np.arange(1, 21) / 2
    prices = Prices(100 * np.exp(0.25 * (grades - 4)), None, 0.2, 0.3, 0.08, 4.0)
    options = [Option("leave", "leave")]
    for many in sorted({1, max(repairs // 2, 1), repairs}):
        options.append(
            Option(
                f"{many} repairs", "own", tuple(range(many)), Guess(0.4, 0.65, 0.9),
                Guess(many, 2.0 * many, 4.0 * many), 4.0, Guess(0.02, 0.05, 0.1),
                Guess(0.1, 0.2, 0.5), Guess(0.8, 0.95, 1.0),
            )
        )  # fmt: skip
    terms = Terms(Guess(15, 20, 30), sale_fee=0.1)
    return Case(Condition(grades, np.array(rows)), tuple(options), terms, prices)


def _plain(case: Any, seed: int) -> list[tuple[float, float]]:
    """Mean gain and its error by drawing everything afresh for each option."""
    rng = np.random.default_rng(seed)
    prices, terms, steps = case.prices, case.terms, case.condition.steps
    grades, values = case.condition.grades, prices.mean

    def pert(guess: Any) -> Any:
        if guess.low == guess.high:
            return np.full(DRAWS, guess.low)
        place = (guess.likely - guess.low) / (guess.high - guess.low)
        wide = guess.high - guess.low
        return guess.low + wide * rng.beta(1 + 4 * place, 5 - 4 * place, DRAWS)

    out = []
    for option in case.options:
        if option.kind == "leave":
            out.append((0.0, 0.0))
            continue
        row = np.zeros(DRAWS, dtype=np.int64)
        for bit in option.repairs:
            row += (rng.random(DRAWS) < option.works.mean).astype(np.int64) << bit
        world = rng.integers(0, steps.shape[1], DRAWS)
        spread, turn = prices.spread, prices.slope * rng.standard_normal(DRAWS)
        level = np.exp(spread * rng.standard_normal(DRAWS) - spread**2 / 2)
        after, now = steps[row, world], steps[0, world]

        def sale(at: Any, level: Any = level, turn: Any = turn) -> Any:
            away = grades[at] - prices.about
            return values[at] * level * np.exp(turn * away - (prices.slope * away) ** 2 / 2)

        hit = rng.random(DRAWS) < option.mishap.mean
        left = np.where(hit, 1 - pert(option.loses), 1.0) * pert(option.factor)
        gains = (1 - terms.sale_fee) * (sale(after) * left - sale(now)) - option.materials
        gains -= pert(option.hours) * pert(terms.hour)
        out.append((float(gains.mean()), float(gains.std() / math.sqrt(DRAWS))))
    return out
