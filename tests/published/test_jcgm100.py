"""Worked examples H.1 (end gauge), H.2, H.3 and Table E.1 of JCGM 100.

Standing: the components and u_c = 34 nm with second-order terms were read in NIST TN 1297,
Table D.1 (``nist1297``); first-order 31.66 nm, 16.75 degrees of freedom and k99 = 2.92 are
computed and equal memory of ``jcgm100``; Table E.1 is computed from c4 and equals memory. H.2
(resistance and reactance) and H.3 (a thermometer's line): computed, also by an independent
program (tests/peers); the printed figures are from memory, u(X) printed 0.295 where the
unrounded arithmetic gives 0.296. The readings of both are from memory.
H.1 by drawing (``jcgm101``): computed here only; the printed figures were not seen.
"""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest

from quirewell.science.evidence.budget_many import (
    Joint,
    observed_together,
    propagate_many,
    second_order,
    shortest,
)
from quirewell.science.evidence.decimals import Array
from quirewell.science.evidence.line import fit
from quirewell.science.evidence.uncertainty import (
    Budget,
    BudgetTerm,
    c4,
    monte_carlo,
    propagate,
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


def _end_gauge(at: Array) -> float:
    """Length [nm]: standard, difference, expansion, its difference, temperature, its difference."""
    length, difference, expansion, differs, temperature, apart = at
    return float(length + difference - length * (differs * temperature + expansion * apart))


_GAUGE = [_LENGTH_NM, 215.0, 11.5e-6, 0.0, -0.1, 0.0]
_GAUGE_U = [25.0, 9.7, rectangular(2e-6), rectangular(1e-6), 0.41, rectangular(0.05)]


def test_the_end_gauge_from_its_equation_with_terms_of_second_order() -> None:
    first = propagate(_end_gauge, _GAUGE, np.diag(np.square(_GAUGE_U)))
    assert first.u == pytest.approx(31.66, abs=0.05)
    second = second_order(_end_gauge, _GAUGE, _GAUGE_U)
    assert second.value == pytest.approx(50.000838e6, abs=0.5)
    # All terms by hand: 11.6 and 1.7 nm are these products.
    more = (_LENGTH_NM * _GAUGE_U[3] * 0.41) ** 2 + (_LENGTH_NM * _GAUGE_U[2] * _GAUGE_U[5]) ** 2
    assert second.u == pytest.approx(math.sqrt(first.u**2 + more), rel=1e-6)
    assert round(second.u) == 34
    assert math.sqrt(second.u**2 - first.u**2) == pytest.approx(math.hypot(11.6, 1.7), abs=0.3)


def test_second_order_of_a_square_and_a_product_by_hand() -> None:
    square = second_order(lambda at: float(at[0] ** 2), [3.0], [0.5])
    assert square.u == pytest.approx(math.sqrt((2 * 3 * 0.5) ** 2 + 2 * 0.5**4), rel=1e-9)
    product = second_order(lambda at: float(at[0] * at[1]), [0.0, 0.0], [0.5, 2.0])
    assert product.u == pytest.approx(1.0, rel=1e-9)


def test_the_end_gauge_by_drawing() -> None:
    def draw(rng: np.random.Generator) -> Array:
        n = 400_000

        def t(centre: float, u: float, dof: int) -> Array:
            return centre + u * rng.standard_t(dof, n)

        def within(half: float, end: float) -> Array:
            """Rectangle whose ends are themselves known to +-``end``."""
            low = -half - end + 2 * end * rng.random(n)
            return low - 2 * low * rng.random(n)

        difference = t(215.0, 5.8, 24) + t(0.0, 3.9, 5) + t(0.0, 6.7, 8)
        swing = 0.5 * np.sin(2 * np.pi * rng.random(n))
        return np.column_stack([
            t(_LENGTH_NM, 25.0, 18), difference, rng.uniform(9.5e-6, 13.5e-6, n),
            within(1e-6, 0.1e-6), rng.normal(-0.1, 0.2, n) + swing, within(0.05, 0.025),
        ])  # fmt: skip

    def model(drawn: Array) -> Array:
        length, difference, expansion, differs, temperature, apart = drawn.T
        shrunk = length * (differs * temperature + expansion * apart)
        return np.asarray(length - 50.000e6 + difference - shrunk)

    found = monte_carlo(model, draw, seed=101, level=0.99)
    assert found.mean == pytest.approx(838, abs=0.3)
    assert found.u == pytest.approx(35.7, abs=0.3)
    assert (found.low, found.high) == (pytest.approx(745, abs=2), pytest.approx(931, abs=2))
    low, high = shortest(model(draw(np.random.default_rng(101))), 0.99)
    assert high - low <= found.high - found.low
    assert (low, high) == (pytest.approx(745, abs=4), pytest.approx(931, abs=4))


_V = ["5.007", "4.994", "5.005", "4.990", "4.999"]
_MA = ["19.663", "19.639", "19.640", "19.685", "19.678"]
_PHI = ["1.0456", "1.0438", "1.0468", "1.0428", "1.0433"]


def _joint_readings() -> Joint:
    return observed_together([[Decimal(one) for one in row] for row in (_V, _MA, _PHI)])


def test_h2_correlations_of_the_means() -> None:
    read = _joint_readings()
    assert read.values == pytest.approx((4.999, 19.661, 1.04446), abs=1e-12)
    assert read.u == pytest.approx((0.0032, 0.0095, 0.00075), rel=0.02)
    found = [read.correlation(0, 1), read.correlation(0, 2), read.correlation(1, 2)]
    assert found == pytest.approx([-0.355, 0.858, -0.645], abs=6e-4)


def test_h2_resistance_reactance_and_impedance_with_their_correlations() -> None:
    def circuit(at: Array) -> Array:
        ohms = 1000 * at[0] / at[1]
        return np.array([ohms * np.cos(at[2]), ohms * np.sin(at[2]), ohms])

    found = propagate_many(circuit, _joint_readings())
    assert found.values == pytest.approx((127.732, 219.847, 254.260), abs=6e-4)
    assert found.u == pytest.approx((0.0711, 0.296, 0.236), abs=6e-4)
    across = [found.correlation(0, 1), found.correlation(0, 2), found.correlation(1, 2)]
    assert across == pytest.approx([-0.588, -0.485, 0.993], abs=6e-4)


_DEGREES = [
    "21.521",
    "22.012",
    "22.512",
    "23.003",
    "23.507",
    "23.999",
    "24.513",
    "25.002",
    "25.503",
    "26.010",
    "26.511",
]
_CORRECTION = [
    "-.171",
    "-.169",
    "-.166",
    "-.159",
    "-.164",
    "-.165",
    "-.156",
    "-.157",
    "-.159",
    "-.161",
    "-.160",
]


def test_h3_line_of_a_thermometer() -> None:
    x = [Decimal(one) - 20 for one in _DEGREES]
    found = fit(x, [Decimal(one) for one in _CORRECTION])
    assert (found.intercept, found.u_intercept) == (
        pytest.approx(-0.1712, abs=5e-5), pytest.approx(0.0029, abs=5e-5)
    )  # fmt: skip
    assert (found.slope, found.u_slope) == (
        pytest.approx(0.00218, abs=5e-6), pytest.approx(0.00067, abs=5e-6)
    )  # fmt: skip
    assert found.r == pytest.approx(-0.930, abs=6e-4)
    assert found.s == pytest.approx(0.0035, abs=5e-5)
    assert found.dof == 9
    value, u = found.at(10.0)
    assert (value, u) == (pytest.approx(-0.1494, abs=5e-5), pytest.approx(0.0041, abs=5e-5))


def test_h3_does_not_depend_on_where_the_scale_begins() -> None:
    y = [Decimal(one) for one in _CORRECTION]
    shifted = fit([Decimal(one) for one in _DEGREES], y)
    assert shifted.at(30.0) == pytest.approx((-0.1494, 0.0041), abs=5e-5)
