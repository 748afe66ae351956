"""A grade with its band and its repairs, beside the same draws made one by one in plain Python.

The peer is the definition written as loops over the same rules with the standard library's own
random numbers, and gives only the band of the value; ours gives chances, deductions and repairs
besides. Seconds are medians of several calls.
"""

from __future__ import annotations

import math
import random
import statistics
import time
from collections.abc import Callable
from typing import Any

DAMAGE = """code,location,extent,u,unit
spine_roll,spine,4,0.5,mm
tear,c.outer.right,about 40 mm,,
tear,w03.outer.left,12,0.5,mm
crease_colour,cover,60,2,mm
tanning,interior,3,0.5,step
rust stain,w09.inner,5,0.5,mm
spine_split,spine,45,5,pct
corner,cover,4,0.5,mm
foxing,w02,3,1,pct
not_looked_at,spine,,,
"""


def bench(repeats: int = 15) -> dict[str, Any]:
    """Milliseconds of an estimate, by the peer's, and how far the two bands lie apart [points]."""
    from quirewell.science.condition.estimate import DRAWS, Grading
    from quirewell.science.condition.scale import TRADE
    from quirewell.stages.defect_table import read_defects
    from quirewell.stages.repairs import repairs_for
    from quirewell.stages.rule_table import built_in

    rules = built_in()
    damages = read_defects(DAMAGE, rules)
    codes = frozenset(one.code for one in damages)

    def estimate() -> Any:
        grading = Grading(damages, rules, TRADE)
        return grading, grading.estimate()

    def with_repairs() -> Any:
        grading, found = estimate()
        return found, [grading.without(helped) for _, helped in repairs_for(codes)]

    def peer() -> tuple[float, float]:
        values = sorted(_drawn(damages, rules.rows, random.Random(seed)) for seed in range(DRAWS))
        return values[DRAWS // 20], values[DRAWS - 1 - DRAWS // 20]

    ours, whole, theirs = (_timed(call, repeats) for call in (estimate, with_repairs, peer))
    raw, band = estimate()[1].raw, peer()
    return {
        "milliseconds": round(1000 * ours, 2),
        "milliseconds_with_repairs": round(1000 * whole, 2),
        "by_peer": round(ours / theirs, 4),
        "low90_apart": round(abs(raw.low90 - band[0]), 3),
        "high90_apart": round(abs(raw.high90 - band[1]), 3),
        "goal_milliseconds": 5,
    }


def _timed(call: Callable[[], Any], repeats: int) -> float:
    call()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _drawn(damages: Any, rows: Any, rng: random.Random) -> float:
    """One draw of the raw value, by the definition."""
    extents = [max(0.0, one.extent + one.u * rng.gauss(0, 1)) for one in damages]
    left, top = 10.0, 10.0
    for rule in rows:
        met = [extent for one, extent in zip(damages, extents, strict=True)
               if (one.code, one.unit) == (rule.code, rule.unit)
               and rule.location in ("any", one.location)]  # fmt: skip
        if not met:
            continue
        amount = sum(met) if rule.over == "sum" else max(met)
        if rule.kind == "deduct":
            points = min(max(0.0, amount - rule.start) / rule.per * rule.value, rule.cap)
            left -= points * math.exp(rule.spread * rng.gauss(0, 1))
        elif rule.kind == "ceiling" and amount >= rule.start:
            top = min(top, max(0.0, rule.value + rule.spread * rng.gauss(0, 1)))
        elif rule.kind == "unseen" and rng.random() < 0.5:
            left -= rng.expovariate(1 / rule.value)
    return min(10.0, max(0.0, min(top, left)))
