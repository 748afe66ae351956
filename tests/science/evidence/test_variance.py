from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest

from quirewell.science.evidence.line import fit
from quirewell.science.evidence.repeatability import pooled
from quirewell.science.evidence.variance import one_way, readings_each, u_of_mean


def test_scatter_of_leaves_and_of_readings_is_found_again() -> None:
    rng = np.random.default_rng(3)
    leaves = rng.normal(0, 0.30, (400, 1)) + rng.normal(0, 0.10, (400, 4))
    found = one_way(leaves.tolist())
    assert found.s_leaf == pytest.approx(0.30, rel=0.08)
    assert found.s_reading == pytest.approx(0.10, rel=0.05)
    assert found.each == pytest.approx(4)


def test_uneven_groups_count_by_the_usual_number() -> None:
    found = one_way([[Decimal(1), Decimal(2)], [Decimal(4)], [Decimal(3), Decimal(5), Decimal(4)]])
    assert found.each == pytest.approx((6 - 14 / 6) / 2)
    assert found.dof_between == 2 and found.dof_within == 3


def test_more_leaves_help_where_leaves_scatter_and_readings_where_readings_do() -> None:
    assert u_of_mean(0.3, 0.1, 12, 1) < u_of_mean(0.3, 0.1, 6, 4)
    assert u_of_mean(0.0, 0.1, 6, 4) < u_of_mean(0.0, 0.1, 12, 1)
    assert readings_each(0.3, 0.1) == 1 and readings_each(0.0, 0.1) == 20


@pytest.mark.parametrize(("leaf", "reading", "cost"), [(0.1, 0.2, 4.0), (0.2, 0.5, 9.0)])
def test_the_best_number_of_readings_is_the_classical_one(
    leaf: float, reading: float, cost: float
) -> None:
    assert abs(readings_each(leaf, reading, cost) - math.sqrt(cost) * reading / leaf) <= 1


def test_readings_once_each_cannot_be_split() -> None:
    with pytest.raises(ValueError, match="read some twice"):
        one_way([[1.0], [2.0]])
    with pytest.raises(ValueError, match="no scatter"):
        one_way([[1.0, 1.0], [1.0, 1.0]])


@pytest.mark.parametrize(("dof", "factor"), [(1, 15.95), (2, 4.42), (4, 2.37), (9, 1.65)])
def test_upper_limit_of_a_repeatability_equals_the_computed_table(dof: int, factor: float) -> None:
    group = [Decimal(one) for one in range(dof + 1)]
    found = pooled([group])
    assert found.high95 / found.s_r == pytest.approx(factor, abs=5.1e-3)


def test_pooled_duplicates_are_the_root_of_the_halved_squares() -> None:
    pairs = [[Decimal("168.4"), Decimal("168.6")], [Decimal("101.0"), Decimal("100.7")]]
    found = pooled([*pairs, [Decimal("99.9")]])
    assert found.s_r == pytest.approx(math.sqrt((0.04 + 0.09) / 4), rel=1e-12)
    assert found.dof == 2 and found.u_rel == pytest.approx(0.523, abs=5e-4)


def test_readings_all_alike_are_held_by_the_step() -> None:
    same = [[Decimal("12.5"), Decimal("12.5")]] * 4
    found = pooled(same, Decimal("0.5"))
    assert found.resolution_holds and found.s_r == pytest.approx(0.1443, abs=1e-4)
    with pytest.raises(ValueError, match="give the step"):
        pooled(same)
    with pytest.raises(ValueError, match="read twice"):
        pooled([[Decimal(1)], [Decimal(2)]])


def test_a_line_far_from_zero_keeps_its_slope() -> None:
    x = [Decimal(10) ** 15 + one for one in range(6)]
    y = [Decimal(10) ** 12 + Decimal(one) / 10 for one in (0, 2, 4, 6, 8, 11)]
    near = fit([Decimal(one) for one in range(6)], [one - Decimal(10) ** 12 for one in y])
    far = fit(x, y)
    assert far.slope == pytest.approx(near.slope, rel=1e-12)
    assert far.u_slope == pytest.approx(near.u_slope, rel=1e-12)
    with pytest.raises(ValueError, match="one place"):
        fit([1.0, 1.0, 1.0], [1.0, 2.0, 3.0])
