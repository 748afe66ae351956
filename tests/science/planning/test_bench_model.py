"""The bench plan against a checker of its own, closed forms, and a prototype's figures.

Check values of the baths: closed forms with four works a batch (fill, wash, transfer, second bath,
lift), worked by hand. Lengths are placeholders.
"""

from __future__ import annotations

import builtins
from dataclasses import replace

import pytest

from bench_problems import BATHS, DAY, hours, prototype
from quirewell.science.planning.bench_check import broken
from quirewell.science.planning.bench_model import plan
from quirewell.science.planning.bench_shop import Fixed, Placed, Problem, Shop, Tray, Wait, Work

D5 = 4 * DAY + 9 * 60 + 15


def baths(batches: int, trays: int, wash: int, window: int = 2000, lag: int = 10) -> Problem:
    works, waits = [], []
    for n in range(batches):
        line = zip(BATHS, (5, wash, 5, 20, 5), (True, False, True, False, True), strict=True)
        works += [Work(f"a/{n}/{s}", "a", str(n), s, m, h) for s, m, h in line]
        most = (0, lag, 0, lag)
        waits += [
            Wait(f"a/{n}/{a}", f"a/{n}/{b}", 0, m, True)
            for a, b, m in zip(BATHS, BATHS[1:], most, strict=False)
        ]
    shop = Shop({"tray": trays}, ((0, window),))
    return Problem(tuple(works), tuple(waits), shop, trays=(Tray(BATHS, "tray", 1),))


@pytest.fixture(scope="module")
def problem():
    return prototype(1)


@pytest.fixture(scope="module")
def answer(problem):
    return plan(problem, time_limit_s=60)


# transfers of 5 min between baths are counted: 5 + wash + 5 + 20 + 5 = 65 at a wash of 30
@pytest.mark.parametrize(
    ("batches", "trays", "wash", "makespan"),
    [(1, 1, 30, 65), (7, 1, 30, 455), (7, 2, 30, 260), (7, 3, 30, 195), (6, 2, 30, 205),
     (7, 2, 45, 320)],
)  # fmt: skip
def test_baths_end_when_a_closed_form_says(batches, trays, wash, makespan):
    found = plan(baths(batches, trays, wash), time_limit_s=20)
    assert found.makespan == makespan
    assert not broken(baths(batches, trays, wash), found)


def test_one_batch_fits_sixty_five_minutes_and_no_fewer():
    assert plan(baths(1, 1, 30, 65)).makespan == 65
    none = plan(baths(1, 1, 30, 64))
    assert none.status == "impossible" and not none.placed and none.conflict


def test_one_item_is_proved_as_the_prototype_was(problem, answer):
    """Fifth day at 09:15, trays free; the same with settled trays, one tray, and no lag at all."""
    assert (answer.status, answer.makespan, answer.bound) == ("proved", D5, D5)
    assert broken(problem, answer) == ()


@pytest.mark.parametrize("more", [{"given": True}, {"places": {"tray": 1}, "given": True},
                                  {"lag": 0, "given": True}])  # fmt: skip
def test_hands_not_trays_are_what_is_short(more):
    one = prototype(1, **more)
    found = plan(one, time_limit_s=60)
    assert (found.status, found.makespan) == ("proved", D5)
    assert broken(one, found) == ()


@pytest.mark.slow
def test_two_items_are_proved_as_the_prototype_was():
    """Seventh day at 09:15, trays given."""
    problem = prototype(2, given=True)
    found = plan(problem, time_limit_s=120)
    assert (found.status, found.makespan) == ("proved", 6 * DAY + 9 * 60 + 15)
    assert broken(problem, found) == ()


def test_no_wet_sheet_waits_and_no_bath_ends_where_nobody_is(problem, answer):
    at = {one.work: one for one in answer.placed}
    open_hours = hours(14)
    for one in answer.placed:
        if one.work.endswith(("/wash", "/bath")):
            assert any(a <= one.end < b for a, b in open_hours), one
    assert answer.wet_wait == sum(
        at[w.after].start - at[w.before].end - w.least for w in problem.waits if w.wet
    )


def test_shifting_any_work_alone_is_found(problem, answer):
    at = {one.work: one for one in answer.placed}
    for one in answer.placed:
        for by in (-3 * DAY, 3 * DAY, 2):
            moved = replace(one, start=one.start + by, end=one.end + by)
            placed = tuple(moved if p is one else p for p in answer.placed)
            assert broken(problem, replace(answer, placed=placed)), (one, by)
        longer = replace(one, end=one.end + 5)
        placed = tuple(longer if p is one else p for p in answer.placed)
        assert broken(problem, replace(answer, placed=placed)), one
    assert len(at) == len(problem.works)


def test_any_sheet_in_another_tray_is_found(problem, answer):
    runs = sorted({one.together for one in answer.placed if one.together})
    for one in answer.placed:
        for run in [run for run in runs if one.together and run != one.together][:2]:
            placed = tuple(replace(p, together=run) if p is one else p for p in answer.placed)
            assert broken(problem, replace(answer, placed=placed)), (one, run)


def test_the_rule_alone_keeps_every_rule_and_proves_nothing(problem):
    found = plan(problem, by="rule")
    assert (found.status, found.by) == ("found", "rule")
    assert broken(problem, found) == () and found.bound <= found.makespan


def test_without_the_solver_the_rule_is_taken(problem, monkeypatch):
    import sys

    real = builtins.__import__

    def missing(name, *args, **more):
        if name.startswith("ortools"):
            raise ImportError(name)
        return real(name, *args, **more)

    for name in list(sys.modules):
        if name.endswith(("bench_search", "bench_solver")):
            monkeypatch.delitem(sys.modules, name)
    from quirewell.science import planning

    monkeypatch.delattr(planning, "bench_search", raising=False)
    monkeypatch.setattr(builtins, "__import__", missing)
    assert plan(problem).by == "rule"


def test_nothing_begun_moves_and_nothing_new_starts_before_now(problem, answer):
    """Ten minutes into a bath: what began stays, the tray goes on, the rest is planned anew."""
    now = max(one.start for one in answer.placed if one.work.endswith("w05/wash")) + 10
    done = tuple(
        Fixed(one.work, one.start, one.end if one.end <= now else None)
        for one in answer.placed
        if one.start < now
    )
    assert any(one.end is None for one in done)
    again = replace(problem, fixed=done, now=now)
    hint = {one.work: one.start for one in answer.placed}
    found = plan(again, hint=hint, time_limit_s=20)
    assert (found.status, found.makespan) == ("proved", D5)
    assert broken(again, found) == ()
    before = {one.work: one for one in answer.placed}
    assert all(one.start >= now or before[one.work].start == one.start for one in found.placed)


def small(**more) -> Problem:
    works = (Work("a/w/fill", "a", "w", "fill", 7, True), Work("a/w/soak", "a", "w", "soak", 30),
             Work("a/w/lift", "a", "w", "lift", 5, True))  # fmt: skip
    waits = (Wait("a/w/fill", "a/w/soak", 0, 0, True), Wait("a/w/soak", "a/w/lift", 0, 9, True))
    base = {"works": works, "waits": waits, "shop": Shop({"tray": 1}, ((0, 60),))}
    return Problem(**{**base, **more})


def test_lengths_are_rounded_up_and_wet_waits_down():
    found = plan(small())
    assert [one.end - one.start for one in found.placed] == [10, 30, 5]
    # a break from 40 to 50: ten minutes after the soak is more than nine, so all begins later
    late = plan(small(shop=Shop({"tray": 1}, ((0, 40), (50, 100)))))
    assert late.placed[1].end >= 50 and late.status == "proved"


def test_a_conflict_is_the_smallest_set_of_rules():
    from quirewell.science.planning.bench_conflict import rules, smallest
    from quirewell.science.planning.bench_search import possible

    none = small(shop=Shop({"tray": 1}, ((0, 30),)))
    found = plan(none)
    assert found.status == "impossible"
    assert "hands only within working hours, 30 min at the longest" in found.conflict
    kept = smallest(none, possible, 10)
    others = [rule for rule in rules(none) if rule not in kept]
    assert possible(none, others, 5) is False, "they conflict by themselves"
    for rule in kept:
        assert possible(none, [*others, rule], 5) is True, f"without {rule} there is a plan"


def test_what_is_no_problem_is_refused():
    with pytest.raises(ValueError, match="names the work"):
        plan(small(waits=(Wait("a/w/fill", "x"),)))
    with pytest.raises(ValueError, match="has no 'rack'"):
        plan(small(works=(Work("a", "a", "w", "fill", 5, uses=("rack",)),), waits=()))


def test_an_answer_without_a_work_is_no_plan():
    found = plan(small())
    assert broken(small(), replace(found, placed=found.placed[:2]))
    assert broken(small(), replace(found, placed=(*found.placed[:2], Placed("a/w/lift", 0, 5))))


@pytest.mark.parametrize("make", [lambda: prototype(1, given=True), small,
                                  lambda: baths(7, 2, 30)])  # fmt: skip
def test_later_by_the_slack_can_be_and_later_by_one_grid_more_cannot(make):
    """Held against the checker, and for one grid more against a search of its own."""
    from ortools.sat.python import cp_model

    from quirewell.science.planning import bench_blocks as units
    from quirewell.science.planning.bench_slack import _net, later, latest

    problem = make()
    found = plan(problem, time_limit_s=10)
    runs = {}
    for one, work in zip(found.placed, problem.works, strict=True):
        if one.together:
            runs.setdefault(one.together, {})[work.item, work.sheet] = None
    laid = units.blocks(problem, [units.Run(0, tuple(sheets)) for sheets in runs.values()])
    at = {one.work: one.start // 5 for one in found.placed}
    starts = [at[block.works[0]] for block in laid.blocks]
    best = later(problem, laid, starts)
    net = _net(problem, laid, starts)
    for number, block in enumerate(laid.blocks):
        assert found.slack[block.works[0]] == (best[number] - starts[number]) * 5 >= 0
        moved = latest(problem, laid, starts, number)
        placed = units.placed(problem, laid, moved)
        names = {one.work: one.together for one in found.placed}
        placed = tuple(replace(one, together=names[one.work]) for one in placed)
        assert broken(problem, replace(found, placed=placed)) == (), block
    for number in list(range(len(laid.blocks)))[::5]:
        cp = cp_model.CpModel()
        end = found.makespan // 5
        vs = []
        for i, one in enumerate(laid.blocks):
            fits = [[0, end - one.size]]
            if one.hands:
                fits = [[a, b - one.size] for a, b in net.stretches if b - a >= one.size]
            vs.append(cp.new_int_var_from_domain(cp_model.Domain.from_intervals(fits), ""))
            cp.add(vs[i] + one.size <= end)
            if i != number and starts[i] <= starts[number]:
                cp.add(vs[i] == starts[i])
        for after, into in enumerate(net.into):
            for before, apart in into:
                cp.add(vs[after] - vs[before] >= apart)
        cp.add(vs[number] > best[number])
        assert cp_model.CpSolver().solve(cp) == cp_model.INFEASIBLE, laid.blocks[number]
