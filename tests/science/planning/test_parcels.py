"""Parcels against cases worked by hand and against every plan there is.

Standing of the hand cases: our own arithmetic, each done twice (closed form and search); no
published table of such plans is known to us. All sums of money are invented.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction as F

import pytest

from quirewell.science.planning import parcel_search
from quirewell.science.planning.parcel_answers import answers, neutral, now_or_wait
from quirewell.science.planning.parcel_bands import mean_factor, spread, strata
from quirewell.science.planning.parcel_model import Model
from quirewell.science.planning.parcel_pruning import prune
from quirewell.science.planning.parcel_search import every_option, guess, solve
from quirewell.science.planning.parcels import (
    Item,
    Option,
    Parcel,
    Problem,
    Tier,
    Way,
    Wish,
    broken,
    correction,
    exact_gain,
    options_of,
    outcomes,
    outlay,
    total,
)

POINTS = ((F(2, 10), F(8000)), (F(5, 10), F(14000)), (F(3, 10), F(21000)))
PRESSED = Way("pressed", POINTS, cost=2100)
SENT = Parcel("first", F(0), 0, 150, F(6, 1000))


def sure(name: str, gain: int, *, ready: int = 0, now: int = 10_000, year: int = 1936) -> Item:
    """An item that comes back worth its value now and ``gain`` cents, before any fee."""
    return Item(name, now, (Way("as it is", ((F(1), F(now + gain)),)),), year, F(ready))


# --- by hand -------------------------------------------------------------------------------------
def test_an_expected_gain_by_hand() -> None:
    """149 expected; less 100 now, 21 press, 40 fee, 1.50, 0.84, 3.576 of waiting: -17.916."""
    tier = Tier("plain", 4000, weeks=F(12))
    item = Item("A", 10_000, (PRESSED,))
    problem = Problem((item,), (tier,), (SENT,), wait_rate=F(2, 1000))
    assert PRESSED.mean == 14_900 and PRESSED.declared == 14_000
    assert exact_gain(problem, item, PRESSED, tier, SENT) == F(-17916, 10)
    assert [one.gain for one in options_of(problem, item)] == [-1792]
    assert solve(problem, every_option(problem)).chosen == {}
    points = outcomes(problem, item, PRESSED, tier, SENT)
    assert sum(p * v for p, v in points) == F(-17916, 10)


def test_an_expected_correction_of_the_fee_by_hand() -> None:
    """Ceiling 150, dearer fee 75, chance 0.3 of a value over it: 0.3 * 35 = 10.50."""
    tiers = Tier("plain", 4000, 15_000, weeks=F(12)), Tier("dear", 7500, weeks=F(12))
    item = Item("A", 10_000, (PRESSED,))
    problem = Problem((item,), tiers, (SENT,), wait_rate=F(2, 1000))
    assert correction(item, PRESSED, tiers[0], tiers) == 1050
    assert exact_gain(problem, item, PRESSED, tiers[0], SENT) == F(-28416, 10)
    points = outcomes(problem, item, PRESSED, tiers[0], SENT)
    assert sum(p * v for p, v in points) == F(-28416, 10)


def test_a_fixed_cost_by_hand() -> None:
    """Gains 30 and 5 do not carry a fixed 45; with 12 more all three go, and 2 is left."""
    tier, parcel = Tier("plain", 0), Parcel("first", fixed=4500)
    two = sure("A", 3000), sure("B", 500)
    problem = Problem(two, (tier,), (parcel,))
    assert solve(problem, every_option(problem)).chosen == {}
    problem = Problem((*two, sure("C", 1200)), (tier,), (parcel,))
    found = solve(problem, every_option(problem))
    assert sorted(found.chosen) == ["A", "B", "C"] and (found.gain, found.bound) == (200, 200)


FILLER = (
    (Tier("A", 2500, minimum=3), Tier("B", 4000)),
    (Parcel("first", fixed=1000),),
)


def test_a_losing_filler_by_hand() -> None:
    """35 + 35 - 8 - 10 = 52 with the filler; without it 20 + 20 - 10 = 30."""
    items = sure("one", 6000), sure("two", 6000), sure("loser", 1700)
    problem = Problem(items, *FILLER)
    options = every_option(problem)
    found = solve(problem, options)
    assert found.gain == 5200 and {o.tier for o in found.chosen.values()} == {"A"}
    assert found.chosen["loser"].gain == -800
    without = solve(problem, options, Wish(outside=frozenset({"loser"})))
    assert without.gain == 3000 and {o.tier for o in without.chosen.values()} == {"B"}
    assert not [one for one in options if one.item == "loser" and one.gain > 0]
    told = {
        one.item: found.gain - one.other.gain for one in answers(problem, options, found, Wish())
    }
    assert told["loser"] == 2200


def test_press_beats_a_treatment_by_hand() -> None:
    """Treating adds 60 for 210, pressing 25 for 21: +4 beats -150."""

    def points(value: int) -> tuple[tuple[F, F], ...]:
        return ((F(1), F(value)),)

    item = Item("A", 10_000, (
        Way("treated", points(16_000), cost=21_000), Way("pressed", points(12_500), cost=2100)
    ))  # fmt: skip
    problem = Problem((item,), (Tier("plain", 0),), (Parcel("first"),))
    assert sorted(one.gain for one in every_option(problem)) == [-15_000, 400]
    assert solve(problem, every_option(problem)).chosen["A"].way == "pressed"


def test_a_typical_price_is_less_than_the_mean() -> None:
    """exp(s^2 / 2): closed form of the log-normal, worked here."""
    assert mean_factor(0.30) == pytest.approx(1.0460, abs=1e-4)
    assert mean_factor(0.60) == pytest.approx(1.1972, abs=1e-4)
    for s in (0.0, 0.3, 0.8):
        assert sum(strata(s)) / 9 == pytest.approx(mean_factor(s), rel=1e-12)


# --- against every plan there is -----------------------------------------------------------------
def every_plan(problem: Problem) -> Iterator[tuple[int, dict[str, Option]]]:
    """All plans that keep the rules, gains worked out again in fractions, nothing pruned."""
    tiers = {tier.name: tier for tier in problem.tiers}
    parcels = {parcel.name: parcel for parcel in problem.parcels}
    ways = {(item.name, way.name): (item, way) for item in problem.items for way in item.ways}
    lists = []
    for item in problem.items:
        own: list[Option | None] = [None]
        for one in options_of(problem, item):
            what, way = ways[item.name, one.way]
            exact = exact_gain(problem, what, way, tiers[one.tier], parcels[one.parcel])
            assert abs(one.gain - exact) <= F(1, 2)
            own.append(one)
        lists.append(own)
    for picks in itertools.product(*lists):
        chosen = [one for one in picks if one is not None]
        counts: dict[tuple[str, str], int] = {}
        insured: dict[str, int] = {}
        for one in chosen:
            counts[one.tier, one.parcel] = counts.get((one.tier, one.parcel), 0) + 1
            insured[one.parcel] = insured.get(one.parcel, 0) + one.declared
        fixed = sum(parcels[name].fixed for name in insured)
        if any(
            count < tiers[tier].minimum or count > (tiers[tier].maximum or 99)
            for (tier, _), count in counts.items()
        ):
            continue
        if any(value > (parcels[name].cap or 10**9) for name, value in insured.items()):
            continue
        if problem.minutes is not None and sum(o.minutes for o in chosen) > problem.minutes:
            continue
        if problem.spend is not None and sum(o.outlay for o in chosen) + fixed > problem.spend:
            continue
        yield sum(o.gain for o in chosen) - fixed, {o.item: o for o in chosen}


def small(seed: int) -> Problem:
    """A small plan with minimum counts, caps, ages, weeks and a limit on hours or money."""
    r = random.Random(seed)
    tiers = (
        Tier("A", r.randrange(1000, 3000), r.choice([None, 15_000]), r.choice([2, 3]),
             weeks=F(r.randrange(20))),
        Tier("B", r.randrange(3000, 5000), r.choice([None, 30_000]),
             maximum=r.choice([None, 1, 2]), from_year=r.choice([None, 1930]), weeks=F(6)),
    )  # fmt: skip
    parcels = (
        Parcel("P", F(0), r.randrange(0, 4000), 150, F(6, 1000), r.choice([None, 25_000])),
        Parcel("Q", F(4), r.randrange(0, 2000), 150, F(6, 1000), r.choice([None, 40_000])),
    )
    items = []
    for i in range(r.choice([3, 4])):
        base = r.randrange(6000, 22_000)
        points = tuple((F(p, 10), F(base * f, 100)) for p, f in ((3, 80), (5, 120), (2, 170)))
        ways = [Way("as it is", points)]
        if r.random() < 0.5:
            better = tuple((p, v * F(12, 10)) for p, v in points)
            ways.append(Way("pressed", better, 2100, 30, r.choice([F(1), F(95, 100)])))
        now = base * r.randrange(60, 105) // 100
        year = r.choice([1920, 1936, None])
        items.append(Item(f"i{i}", now, tuple(ways), year, F(r.choice([0, 0, 3]))))
    return Problem(
        tuple(items), tiers, parcels, r.choice([None, 60]), r.choice([None, 9000, 16_000]),
        F(2, 1000),
    )  # fmt: skip


@pytest.mark.parametrize("block", range(8))
def test_the_search_finds_what_trying_everything_finds(block: int) -> None:
    """240 small plans, every combination tried; some need an item that loses by itself."""
    some = losers = 0
    for seed in range(30 * block, 30 * block + 30):
        problem = small(seed)
        best = max(gain for gain, _ in every_plan(problem))
        options = every_option(problem)
        found = solve(problem, options)
        assert found.gain == best == found.bound, seed
        assert total(problem, found.chosen) == best and not broken(problem, found.chosen)
        some += best > 0
        losers += any(one.gain < 0 for one in found.chosen.values())
    assert some >= 8
    assert losers or block != 0


def test_the_way_of_large_plans_finds_what_trying_everything_finds(monkeypatch) -> None:
    """The branching that large plans go through, on plans small enough to try everything."""
    monkeypatch.setattr(parcel_search, "MANY", -1)
    for seed in range(500, 580):
        problem = small(seed)
        plans = list(every_plan(problem))
        options = every_option(problem)
        best = max(gain for gain, _ in plans)
        found = solve(problem, options, gap=0.0)
        assert found.gain == best == found.bound and found.why == "proved", seed
        assert not broken(problem, found.chosen)
        name = problem.items[seed % len(problem.items)].name
        with_it = [gain for gain, plan in plans if name in plan]
        asked = Wish(inside=frozenset({name}))
        forced = solve(problem, options, asked, gap=0.0)
        assert (forced.why == "impossible") == (not with_it)
        assert not with_it or forced.gain == max(with_it) == forced.bound
        loose = solve(problem, options, gap=0.2)
        assert loose.bound is not None and loose.gain <= best <= loose.bound
        assert loose.bound <= 1.2 * loose.gain + 1


def test_looking_near_the_relaxed_plan_loses_nothing_on_plans_too_large_to_try(
    monkeypatch,
) -> None:
    """Some twenty items at once, against the solver's one run over the whole matrix."""
    monkeypatch.setattr(parcel_search, "MANY", -1)
    for seed in range(12):
        base = small(seed)
        items = tuple(
            replace(item, name=f"{item.name}.{k}")
            for k in range(6) for item in small(3000 + 10 * seed + k).items
        )  # fmt: skip
        problem = replace(base, items=items, spend=None)
        options = every_option(problem)
        for inside in (frozenset[str](), frozenset({options[0].item, options[-1].item})):
            found = solve(problem, options, Wish(inside=inside), gap=0.0)
            whole = Model(problem, options, inside).run({}, 60, 0.0)
            assert whole.ended and (found.why == "impossible") == whole.impossible, seed
            if whole.chosen is not None:
                assert found.gain == total(problem, whole.chosen) == found.bound, seed


def test_what_is_left_out_of_the_search_never_costs_anything() -> None:
    for seed in range(60):
        problem = small(1000 + seed)
        options = every_option(problem)
        full = solve(problem, options, pruned=False)
        assert solve(problem, options).gain == full.gain
        assert len(prune(problem, options, frozenset())) <= len(options)


def test_leaving_out_what_loses_would_cost_something() -> None:
    """The trap the pruning avoids, so that the test above can fail."""
    worse = 0
    for seed in range(150):
        problem = small(seed)
        options = every_option(problem)
        naive = solve(problem, [one for one in options if one.gain > 0], pruned=False)
        worse += naive.gain < solve(problem, options).gain
    assert worse >= 3


def test_items_that_must_go_or_stay_agree_with_trying_everything() -> None:
    checked = 0
    for seed in range(40):
        problem = small(2000 + seed)
        plans = list(every_plan(problem))
        options = every_option(problem)
        for item in problem.items:
            with_it = [gain for gain, plan in plans if item.name in plan]
            found = solve(problem, options, Wish(inside=frozenset({item.name})))
            assert (found.why == "impossible") == (not with_it)
            if with_it:
                assert found.gain == max(with_it)
                checked += 1
            out = max(gain for gain, plan in plans if item.name not in plan)
            assert solve(problem, options, Wish(outside=frozenset({item.name}))).gain == out
        no_a = max(g for g, plan in plans if all(o.tier != "A" for o in plan.values()))
        assert solve(problem, options, Wish(closed=frozenset({"A"}))).gain == no_a
    assert checked > 60


def test_the_order_of_items_changes_nothing() -> None:
    for seed in range(20):
        problem = small(3000 + seed)
        there = solve(problem, every_option(problem))
        turned = replace(problem, items=problem.items[::-1], tiers=problem.tiers)
        assert solve(turned, every_option(turned)) == there


@pytest.mark.parametrize("seed", range(15))
def test_more_money_and_more_hours_never_hurt(seed: int) -> None:
    problem = small(4000 + seed)
    options = every_option(problem)
    last = -1
    for spend in (0, 4000, 8000, 12_000, 20_000, None):
        gain = solve(replace(problem, spend=spend), options).gain
        assert gain >= last
        last = gain
    last = -1
    for minutes in (0, 30, 60, 120, None):
        gain = solve(replace(problem, minutes=minutes), options).gain
        assert gain >= last
        last = gain


# --- answers -------------------------------------------------------------------------------------
def test_two_more_that_only_count_open_the_cheap_tier() -> None:
    """Two items, 20 each in B or 35 in A from three on: one more that only counts brings 30."""
    problem = Problem((sure("one", 6000), sure("two", 6000)), *FILLER)
    options = every_option(problem)
    first = now_or_wait(problem, options, Wish(), more=1)
    assert first.now.gain == 3000 and first.with_more.gain == 6000
    assert [name for name in first.with_more.chosen if neutral(name)]


def test_an_item_waits_for_two_that_are_not_ready_yet() -> None:
    """Alone now in B: 20 - 10. With two more in four weeks all in A: 3 * 35 - 10 = 95."""
    tiers, _ = FILLER
    parcels = Parcel("now", fixed=1000), Parcel("later", F(4), 1000)
    items = sure("one", 6000), sure("two", 6000, ready=4), sure("three", 6000, ready=4)
    problem = Problem(items, tiers, parcels)
    options = every_option(problem)
    best = solve(problem, options)
    assert best.gain == 9500 and {o.parcel for o in best.chosen.values()} == {"later"}
    assert now_or_wait(problem, options, Wish()).now.gain == 1000
    told = {(a.item, a.question): best.gain - a.other.gain
            for a in answers(problem, options, best, Wish())}  # fmt: skip
    # "one" sooner: 10 by itself, and the two others in B, 40 - 10 = 30: together 40, so 55 saved.
    assert told["one", "sooner"] == 9500 - 4000
    assert ("two", "sooner") not in told


def test_nothing_profitable_is_a_plan_too() -> None:
    problem = Problem((sure("A", 100), sure("B", -100)), (Tier("plain", 4000),), (Parcel("first"),))
    options = every_option(problem)
    best = solve(problem, options)
    assert (best.chosen, best.gain, best.gap) == ({}, 0, 0.0)
    told = {a.item: a.other.gain for a in answers(problem, options, best, Wish())}
    assert told == {"A": -3900, "B": -4100}


def test_what_cannot_be_is_called_so() -> None:
    tier = Tier("odd", 1000, minimum=3, maximum=2)
    problem = Problem((sure("A", 5000),), (tier,), (Parcel("first"),))
    assert every_option(problem) == []
    assert solve(problem, []).why == "proved"
    assert solve(problem, [], Wish(inside=frozenset({"A"}))).why == "impossible"


# --- bands, and a large plan ---------------------------------------------------------------------
def test_a_band_against_all_outcomes() -> None:
    r = random.Random(7)
    parts = [tuple((F(1, 3), F(r.randrange(-3000, 9000))) for _ in range(3)) for _ in range(6)]
    sums = sorted(sum(v for _, v in picks) - 1500 for picks in itertools.product(*parts))
    said = spread(parts, 1500)
    step = max(1, sum(max(v for _, v in p) - min(v for _, v in p) for p in parts) / 8000)
    mean = sum(sums) / len(sums)
    assert said.mean == pytest.approx(float(mean), abs=1e-6)
    assert said.u**2 == pytest.approx(float(sum((s - mean) ** 2 for s in sums) / len(sums)))
    low, high = sums[int(0.05 * len(sums))], sums[int(0.95 * len(sums))]
    assert abs(said.low90 - low) <= 12 * step + 60 and abs(said.high90 - high) <= 12 * step + 60
    assert said.loss == pytest.approx(sum(s < 0 for s in sums) / len(sums), abs=0.01)
    worst = sums[: len(sums) // 5]
    assert said.worst_fifth == pytest.approx(float(sum(worst) / len(worst)), abs=60)


def large(count: int, seed: int) -> Problem:
    r = random.Random(seed)
    tiers = (Tier("A", 2500, 15_000, 20, weeks=F(20)), Tier("B", 4000, 40_000, weeks=F(12)),
             Tier("C", 7500, weeks=F(6)))  # fmt: skip
    parcels = tuple(Parcel(f"P{k}", F(4 * k), 4500, 150, F(6, 1000), count * 2500) for k in (0, 1))
    items = []
    for i in range(count):
        base = r.randrange(5000, 30_000)
        points = tuple((F(p, 10), F(base * f, 100)) for p, f in ((3, 80), (4, 120), (3, 170)))
        items.append(
            Item(f"i{i:03}", base * r.randrange(60, 105) // 100, (Way("as it is", points),))
        )
    return Problem(tuple(items), tiers, parcels, spend=count * 3000, wait_rate=F(2, 1000))


def test_a_large_plan_tells_its_gap_and_can_be_stopped() -> None:
    problem = large(160, 3)
    options = every_option(problem)
    told: list[int] = []
    found = solve(problem, options, gap=0.02, progress=lambda one: told.append(one.gain))
    assert found.gap is not None and found.gap <= 0.02 and found.why in ("proved", "near")
    assert not broken(problem, found.chosen) and total(problem, found.chosen) == found.gain
    assert outlay(problem, found.chosen) <= (problem.spend or 0)
    stopped = solve(problem, options, stopped=lambda: True)
    assert stopped.why == "stopped" and 0 < stopped.gain == told[0] <= found.gain
    assert not broken(problem, stopped.chosen)
    assert stopped.bound is not None and stopped.bound >= found.gain
    assert not broken(problem, guess(problem, options))


def test_a_plan_that_breaks_rules_is_told() -> None:
    problem = Problem((sure("one", 6000), sure("two", 6000)), *FILLER)
    one = next(o for o in every_option(problem) if o.tier == "A")
    assert broken(problem, {one.item: one}) == ["A in first holds 1 and takes 3 or more"]
    says = broken(
        problem, {one.item: one}, Wish(closed=frozenset({"A"}), inside=frozenset({"two"}))
    )
    assert "A is switched off" in says and "two must go and does not" in says
