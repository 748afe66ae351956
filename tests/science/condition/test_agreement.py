"""Scores of agreement against their published values, their definitions and each other."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from quirewell.science.condition.agreement import alpha, ranked_score


def test_alpha_of_two_raters_is_its_definition_by_pairs() -> None:
    rng = np.random.default_rng(3)
    first = rng.integers(1, 6, 20)
    both = [list(first), list(np.clip(first + rng.integers(-1, 2, 20), 1, 6))]
    within = np.mean([(a - b) ** 2 for a, b in zip(*both, strict=True)])
    pool = [*both[0], *both[1]]
    across = np.mean([(a - b) ** 2 for a, b in itertools.permutations(pool, 2)])
    assert alpha(both, "interval") == pytest.approx(1 - within / across)


def test_full_agreement_is_1_and_nothing_to_agree_on_is_refused() -> None:
    assert alpha([[1, 2, 3], [1, 2, 3]]) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="more than one value"):
        alpha([[2, 2], [2, 2]])
    with pytest.raises(ValueError, match="rated twice"):
        alpha([[1, None], [None, 2]])


@pytest.mark.parametrize(
    ("chances", "outcome", "score"),
    [
        ((0.1, 0.2, 0.4, 0.2, 0.1), 2, 0.20),  # .01 + .09 + .09 + .01
        ((0.0, 0.0, 1.0), 2, 0.0),
        ((1.0, 0.0, 0.0), 2, 2.0),  # certain and two steps off
        ((0.5, 0.5), 0, 0.25),
    ],
)
def test_ranked_score_by_hand(chances, outcome, score) -> None:
    """``epstein1969``, the sum form."""
    assert ranked_score(chances, outcome) == pytest.approx(score)


def test_ranked_score_is_the_other_formula_too() -> None:
    """RPS = E|X - y| - E|X - X'| / 2 for X, X' drawn from the forecast, steps one apart."""
    rng = np.random.default_rng(4)
    for _i in range(100):
        p = rng.dirichlet(np.ones(rng.integers(2, 9)))
        y = int(rng.integers(len(p)))
        steps = np.arange(len(p))
        apart = np.abs(steps[:, None] - steps)
        assert ranked_score(p, y) == pytest.approx(p @ apart[y] - p @ apart @ p / 2, abs=1e-12)


@pytest.mark.parametrize(("chances", "outcome"), [((0.5, 0.4), 0), ((1.2, -0.2), 0), ((1.0,), 3)])
def test_chances_that_are_none_are_refused(chances, outcome) -> None:
    with pytest.raises(ValueError, match=r"chances|outcome"):
        ranked_score(chances, outcome)
