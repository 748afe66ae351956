import builtins
from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from project_cases import Project, baths, by_trying, tiny, within
from quirewell.science.planning.bench_network import network
from quirewell.science.planning.bench_plan import solve
from quirewell.science.planning.bench_plan_check import check
from quirewell.science.planning.bench_plan_conflict import conflict


@pytest.mark.parametrize("wait", [10, 0])
@pytest.mark.parametrize(
    ("batches", "trays", "wash", "minutes"),
    [
        (1, 1, 30, 65),  # 5 + 30 + 5 + 20 + 5
        (7, 1, 30, 7 * 65),
        (7, 2, 30, 4 * 65),
        (7, 3, 30, 3 * 65),
        (6, 2, 30, 3 * 65 + 10),  # one person: the second tray 5 later, and 5 to let it pass
        (7, 2, 45, 4 * 80),
    ],
)
def test_baths_end_when_the_closed_form_says(batches, trays, wash, minutes, wait):
    project = baths(batches, trays, wash, wait)
    found = solve(*project)
    assert (found.status, found.makespan) == ("proved", minutes)
    assert check(*project, found.starts) == ()


def test_a_window_of_64_minutes_is_too_short_and_65_will_do():
    assert solve(*within(baths(1, 1, 30), 64)).status == "impossible"
    found = solve(*within(baths(1, 1, 30), 65))
    assert (found.status, found.makespan) == ("proved", 65)


def test_an_answer_cannot_be_changed():
    with pytest.raises(FrozenInstanceError):
        solve([1], [[]], [], []).makespan = 0


def test_six_hundred_tiny_projects_as_trying_everything_finds_them():
    impossible = conflicts = by_resources = 0
    for seed in range(600):
        project = tiny(seed)
        best = by_trying(project)
        found = solve(*project, workers=1)
        rule = solve(*project, by="rule")
        if best is None:
            impossible += 1
            assert found.status == "impossible", seed
            assert rule.status in ("impossible", "unknown"), seed
            by_resources += not network(*project).cycle
            conflicts += _conflict_has_none_to_spare(project)
            continue
        assert (found.status, found.makespan, found.bound) == ("proved", best, best), seed
        assert check(*project, found.starts) == ()
        assert network(*project).bound <= best <= network(*project).horizon
        if rule.starts is not None:
            assert rule.makespan >= best
            assert rule.status == ("proved" if rule.makespan == rule.bound else "found")
            assert rule.status == "found" or rule.makespan == best
            assert check(*project, rule.starts) == ()
        else:
            assert rule.status == "unknown"
    assert impossible == conflicts >= 100
    assert by_resources >= 15


def _conflict_has_none_to_spare(project: Project) -> bool:
    """The set conflicts and no smaller part of it does, by trying everything; whether it is one."""
    told = conflict(*project)
    assert told.status == "conflict"
    least = [lag for lag in project.lags if lag[2] >= 0]
    chosen = [project.lags[number] for number in told.lags]
    assert chosen and all(d < 0 for _, _, d in chosen)
    assert by_trying(project._replace(lags=[*least, *chosen])) is None
    for one in range(len(chosen)):
        others = chosen[:one] + chosen[one + 1 :]
        assert by_trying(project._replace(lags=[*least, *others])) is not None
    return True


@st.composite
def projects(draw):
    count = draw(st.integers(0, 8))
    capacities = draw(st.lists(st.integers(0, 4), max_size=3))
    some = st.integers(0, max(count - 1, 0))
    return Project(
        [draw(st.integers(0, 9)) for _ in range(count)],
        [[draw(st.integers(0, c)) for c in capacities] for _ in range(count)],
        capacities,
        draw(st.lists(st.tuples(some, some, st.integers(-12, 9)), max_size=10)) if count else [],
    )


@settings(max_examples=120, deadline=None)
@given(projects())
def test_every_answer_keeps_the_rules_and_the_rule_beats_no_proof(project):
    found, rule = solve(*project, workers=1), solve(*project, by="rule")
    assert found.status in ("proved", "impossible")
    for answer in (found, rule):
        if answer.starts is not None:
            assert check(*project, answer.starts) == ()
            assert answer.bound <= answer.makespan
    if found.status == "impossible":
        assert rule.starts is None
    elif rule.starts is not None:
        assert rule.makespan >= found.makespan
        assert rule.bound <= found.makespan


def test_the_rule_takes_out_what_holds_an_activity_back():
    # 1 must start with 0's end, but 2 has the place first: 0 waits for it.
    project = Project([1, 2, 3], [[0], [1], [1]], [1], [(0, 1, 1), (1, 0, -1), (2, 1, 3)])
    found = solve(*project, by="rule")
    assert found.starts == (2, 3, 0)


def test_the_same_seed_and_one_worker_give_the_same_starts():
    project = baths(6, 2, 30)
    first = solve(*project, workers=1, seed=3)
    assert first.by == "solver"
    assert solve(*project, workers=1, seed=3).starts == first.starts


def test_without_the_solver_the_rule_is_taken_and_says_so(monkeypatch):
    real = builtins.__import__

    def no_solver(name, *args, **kwargs):
        if name.startswith("ortools"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", no_solver)
    found = solve(*baths(6, 2, 30))
    assert found.by == "rule"
    assert found.status == "found"
    assert found.makespan >= 205


def test_nothing_to_do_takes_no_time():
    assert solve([], [], [2], []).makespan == 0
    assert solve([], [], [], []).status == "proved"
    assert solve([3, 4], [], [], []).makespan == 4
    assert solve([3, 4], [[], []], [], [(0, 1, 1)]).makespan == 5


def test_no_place_bears_what_takes_none():
    assert solve([3, 4], [[0], [0]], [0], []).makespan == 4
    assert solve([0, 4], [[1], [0]], [0], []).makespan == 4  # for no time, nothing is taken
    refused = solve([3, 4], [[1], [0]], [0], [])
    assert (refused.status, refused.why) == (
        "impossible",
        "Activity 0 takes 1 of resource 0, which has 0.",
    )


def test_a_circle_of_lags_is_told_before_the_search():
    found = solve([5, 5, 5], [[], [], []], [], [(0, 1, 5), (1, 2, 5), (2, 0, -9), (0, 2, 1)])
    assert found.status == "impossible"
    assert found.why == "The lags numbered 0, 1, 2 run in a circle and ask 1 more than there is."
    assert solve([5], [[]], [], [(0, 0, 1)]).status == "impossible"
    assert solve([5], [[]], [], [(0, 0, -1)]).makespan == 5


def test_numpy_integers_are_whole_numbers():
    found = solve(np.array([2, 3]), np.array([[1], [1]]), np.array([1]), np.array([[0, 1, 2]]))
    assert (found.makespan, found.starts) == (5, (0, 2))


@pytest.mark.parametrize(
    ("project", "words"),
    [
        (([1, 2], [[1]], [1], []), "2 durations but 1 rows of demands"),
        (([1], [[1, 1]], [1], []), "activity 0 has 2 demands but there are 1 resources"),
        (([-1], [[1]], [1], []), "the duration of activity 0 is -1"),
        (([1], [[-1]], [1], []), "activity 0's demand for resource 0 is -1"),
        (([1], [[1]], [-1], []), "the capacity of resource 0 is -1"),
        (([float("nan")], [[1]], [1], []), "activity 0 is nan; only whole numbers"),
        (([1.5], [[1]], [1], []), "activity 0 is 1.5; only whole numbers"),
        (([1], [[1]], [1], [(0, 1, 2)]), "lag 0 names activity 1, but the 1 activities"),
        (([1], [[1]], [1], [(-1, 0, 2)]), "lag 0 names activity -1"),
        (([1], [[1]], [1], [(0, 0)]), "lag 0 is \\(0, 0\\); give \\(i, j, d\\)"),
        (([1], [[1]], [1], [(0, 0, float("inf"))]), "a number of lag 0 is inf"),
        (([1], [3], [1], []), "demands of activity 0 must be a list, not 3"),
        ((7, [], [], []), "durations must be a list, not 7"),
        (("12", [], [], []), "durations must be a list, not '12'"),
        (([10**13], [[1]], [1], []), "use a larger unit of time"),
    ],
)
def test_what_is_no_project_is_refused_in_words(project, words):
    with pytest.raises(ValueError, match=words):
        solve(*project)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"time_limit_s": 0}, "time_limit_s is 0"),
        ({"time_limit_s": float("nan")}, "time_limit_s is nan"),
        ({"workers": 0}, "workers is 0"),
        ({"seed": -1}, "seed is -1"),
        ({"by": "luck"}, "by is 'luck'"),
    ],
)
def test_how_to_solve_is_refused_in_words(how, words):
    with pytest.raises(ValueError, match=words):
        solve([1], [[1]], [1], [], **how)


def test_no_conflict_is_told_where_there_is_none():
    assert conflict([1, 1], [[1], [1]], [1], [(0, 1, 1), (1, 0, -1)]).status == "possible"
    assert conflict([1, 1], [[1], [1]], [1], [(0, 1, 1), (1, 0, 1)]).status == "always"
    assert conflict([1], [[2]], [1], []).status == "always"


def test_of_three_maximum_lags_the_two_that_conflict_are_named():
    # One person: 1 and 2 both within 3 of 0's end, each 3 long.
    lags = [(0, 1, 2), (0, 2, 2), (3, 0, -50), (1, 0, -4), (2, 0, -4)]
    told = conflict([2, 3, 3, 1], [[1]] * 4, [1], lags)
    assert (told.status, told.lags) == ("conflict", (3, 4))


@pytest.mark.parametrize(
    ("starts", "words"),
    [
        ([0, 3], ()),
        ([0], ("There are 2 activities but 1 starts.",)),
        ([-1, 3], ("Activity 0 starts at -1, before 0.",)),
        ([0, 2], ("At 2 the activities 0, 1 take 2 of resource 0, which has 1.",)),
        ([1, 6], ("Activity 1 starts at 6, but must start by 5 (4 after activity 0 at most).",)),
    ],
)
def test_the_checker_says_what_is_broken(starts, words):
    assert check([3, 2], [[1], [1]], [1], [(0, 1, 2), (1, 0, -4)], starts) == words


def test_the_checker_says_when_a_minimum_lag_is_broken():
    assert check([1, 1], [[], []], [], [(0, 1, 2)], [0, 1]) == (
        "Activity 1 starts at 1, but must start at 2 or later (2 after activity 0).",
    )
