"""Worked example H.1 (end gauge) and Table E.1 of JCGM 100.

Standing: the components and u_c = 34 nm with second-order terms were read in NIST TN 1297,
Table D.1 (``nist1297``); first-order 31.66 nm, 16.75 degrees of freedom and k99 = 2.92 are
computed and equal memory of ``jcgm100``; Table E.1 is computed from c4 and equals memory.
"""

from __future__ import annotations

import math

import pytest

from quirewell.science.evidence.uncertainty import (
    Budget,
    BudgetTerm,
    c4,
    rectangular,
    relative_u_of_sd,
)

# Unrounded components [nm]: standard, difference (three parts), expansion, temperature.
_LENGTH_NM = 50.000623e6
_FIRST_ORDER = (
    BudgetTerm("standard", 25.0, 18),
    BudgetTerm("repeat", 5.8, 24),
    BudgetTerm("random of comparator", 3.9, 5),
    BudgetTerm("systematic of comparator", 6.7, 8),
    BudgetTerm("difference of expansion", _LENGTH_NM * 0.1 * rectangular(1e-6), 50),
    BudgetTerm("difference of temperature", _LENGTH_NM * 11.5e-6 * rectangular(0.05), 2),
)


def test_components_of_the_end_gauge_match_the_published_table() -> None:
    published = (25.0, 5.8, 3.9, 6.7, 2.9, 16.6)
    assert [round(term.u, 1) for term in _FIRST_ORDER] == list(published)


def test_first_order_budget_of_the_end_gauge() -> None:
    budget = Budget(_FIRST_ORDER)
    assert budget.u == pytest.approx(31.66, abs=0.02)
    assert budget.dof == pytest.approx(16.75, abs=0.1)
    assert budget.coverage_factor(0.99) == pytest.approx(2.921, abs=5e-4)
    assert budget.expanded(0.99) == pytest.approx(92.5, abs=0.1)
    assert budget.largest.name == "standard"


def test_second_order_terms_raise_it_to_the_published_34_nm() -> None:
    second = (BudgetTerm("expansion x temperature", 11.6), BudgetTerm("expansion of both", 1.7))
    assert round(Budget(_FIRST_ORDER + second).u) == 34


@pytest.mark.parametrize(
    ("readings", "percent"), [(2, 75.6), (3, 52.3), (4, 42.2), (5, 36.3), (10, 23.9), (50, 10.1)]
)
def test_uncertainty_of_a_standard_deviation(readings: int, percent: float) -> None:
    assert 100 * relative_u_of_sd(readings) == pytest.approx(percent, abs=0.06)


def test_c4_of_five_readings() -> None:
    assert c4(5) == pytest.approx(0.93999, abs=5e-6)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-12)
