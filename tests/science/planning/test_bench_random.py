"""Random small benches: rule, search, bound, checker and planning anew never gainsay each other."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import pytest

from quirewell.science.planning.bench_check import broken
from quirewell.science.planning.bench_model import plan
from quirewell.science.planning.bench_shop import Fixed, Problem, Shop, Tray, Wait, Work

STEPS = ("clean", "fill", "soak", "lift", "dry", "look")
HOURS = (((600, 660), (700, 760)), ((600, 720),), ((600, 630),))


def made(rng: random.Random) -> Problem:
    works, waits = [], []
    for sheet in map(str, range(rng.randint(1, 4))):
        for step in STEPS:
            minutes = 300 if step == "dry" else rng.choice([3, 5, 10, 20, 60])
            uses = ("rack",) if step == "dry" else ()
            hands = step not in ("soak", "dry")
            works.append(Work(f"a/{sheet}/{step}", "a", sheet, step, minutes, hands, uses))
        for a, b in itertools.pairwise(STEPS):
            most = {"fill": 0, "soak": rng.choice([0, 7, 30]), "lift": rng.choice([0, 5])}.get(a)
            least = 0 if most is not None else rng.choice([0, 0, 7])
            waits.append(Wait(f"a/{sheet}/{a}", f"a/{sheet}/{b}", least, most, most is not None))
    hours = tuple(
        (day * 1440 + a, day * 1440 + b) for day in range(6) for a, b in rng.choice(HOURS)
    )
    shop = Shop({"rack": rng.randint(1, 3), "tray": rng.randint(1, 2)}, hours, rng.randint(1, 2))
    tray = Tray(("fill", "soak", "lift"), "tray", 2, ("0",) if rng.random() < 0.3 else ())
    return Problem(tuple(works), tuple(waits), shop, trays=(tray,))


@pytest.mark.parametrize("seed", range(3))
def test_nothing_gainsays_another(seed):
    rng = random.Random(seed)
    decided = again = 0
    for _ in range(12):
        problem = made(rng)
        found, ruled = plan(problem, time_limit_s=5), plan(problem, by="rule")
        if ruled.placed:
            assert broken(problem, ruled) == () and found.status != "impossible"
        if not found.placed:
            continue
        assert broken(problem, found) == ()
        if found.status == "proved":
            decided += 1
            assert ruled.bound is None or ruled.bound <= found.makespan
            assert not ruled.placed or ruled.makespan >= found.makespan
        if found.makespan <= 700:
            continue
        now = rng.randrange(600, found.makespan, 5)
        begun = tuple(
            Fixed(one.work, one.start, one.end if one.end <= now else None)
            for one in found.placed
            if one.start < now
        )
        later = replace(problem, fixed=begun, now=now)
        more = plan(later, time_limit_s=5, hint={one.work: one.start for one in found.placed})
        assert more.placed and broken(later, more) == ()
        if found.status == more.status == "proved":
            again += 1
            assert more.makespan == found.makespan, "the plan so far was to be kept"
    assert decided > 3 and again > 2
