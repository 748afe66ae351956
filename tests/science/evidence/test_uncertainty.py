from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.evidence.uncertainty import (
    Budget,
    BudgetTerm,
    c4,
    coverage_factor,
    monte_carlo,
    propagate,
    resolution_u,
)


def test_propagation_through_a_product_equals_the_closed_form() -> None:
    cov = np.array([[0.04, 0.01], [0.01, 0.09]])
    result = propagate(lambda v: float(v[0] * v[1]), [3.0, 5.0], cov)
    assert result.value == pytest.approx(15.0)
    assert result.u == pytest.approx(math.sqrt(25 * 0.04 + 9 * 0.09 + 2 * 15 * 0.01), rel=1e-7)
    assert result.shares == (pytest.approx(1.0, rel=1e-7), pytest.approx(0.9, rel=1e-7))


def test_monte_carlo_and_propagation_agree_on_a_gentle_model() -> None:
    def draw(rng: np.random.Generator) -> np.ndarray:
        return rng.normal([2.0, 8.0], [0.02, 0.05], (50_000, 2))

    sampled = monte_carlo(lambda v: v[:, 0] ** 2 / v[:, 1], draw, seed=3)
    linear = propagate(lambda v: float(v[0] ** 2 / v[1]), [2.0, 8.0], np.diag([0.02**2, 0.05**2]))
    assert sampled.u == pytest.approx(linear.u, rel=0.02)
    assert sampled.high - sampled.low == pytest.approx(2 * 1.645 * linear.u, rel=0.03)


def test_a_budget_of_exact_terms_has_endless_degrees_of_freedom() -> None:
    budget = Budget((BudgetTerm("a", 3.0), BudgetTerm("b", 4.0)))
    assert budget.u == 5.0
    assert math.isinf(budget.dof)
    assert budget.expanded() == pytest.approx(9.7998, abs=1e-3)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_an_impossible_term_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="must be 0 or more"):
        BudgetTerm("reading", bad)


def test_bad_levels_and_counts_are_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        coverage_factor(1.0)
    with pytest.raises(ValueError, match="2 readings"):
        c4(1)
    with pytest.raises(ValueError, match="positive"):
        BudgetTerm("reading", 1.0, dof=0)


def test_resolution_of_half_a_millimetre() -> None:
    assert resolution_u(0.5) == pytest.approx(0.1443, abs=1e-4)
