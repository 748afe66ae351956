"""Creep as imposition documentation gives it (``imposition_creep``): thickness x (pages/4 - 1) x a
coefficient, "usually 1.2 to 1.4, ideally 1". Read in full; the table below is that product."""

import math

import pytest

from quirewell.science.booklet.creep import KAPPA, ROUND, SHARP, TRADE, push_out


@pytest.mark.parametrize(
    ("wraps", "sharp", "usual", "round_"),
    [
        (8, 0.60, 0.77, 0.93), (12, 0.94, 1.22, 1.47), (14, 1.10, 1.44, 1.74),
        (16, 1.28, 1.66, 2.00), (24, 1.96, 2.54, 3.07),
    ],
)  # fmt: skip
def test_innermost_wrap_of_a_leaf_of_0085_mm(wraps, sharp, usual, round_):
    for kappa, told in ((SHARP, sharp), (KAPPA.value, usual), (ROUND, round_)):
        assert push_out(wraps, 0.085, kappa) == pytest.approx(told, abs=0.0101)
    pages = 4 * wraps
    assert push_out(wraps, 0.085, 1.2) == pytest.approx(0.085 * (pages / 4 - 1) * 1.2)


@pytest.mark.parametrize(("leaf", "told"), [(0.075, 1.46), (0.10, 1.95)])
def test_thinner_and_thicker_leaves(leaf, told):
    assert push_out(16, leaf, 1.3) == pytest.approx(told, abs=0.0051)


def test_the_trades_coefficient_lies_between_a_sharp_and_a_round_fold():
    assert TRADE == (1.2, 1.4)
    assert SHARP == 1.0 <= TRADE[0] < TRADE[1] <= ROUND == math.pi / 2
    assert KAPPA.value == pytest.approx(sum(TRADE) / 2)
    assert KAPPA.value - 2 * KAPPA.u == pytest.approx(SHARP)


def test_half_circles_round_one_centre_are_the_upper_bound():
    """A leaf at radius r uses pi r round the fold, r beyond the next: pi/2 a side and thickness."""
    leaf = 0.085
    arcs = [math.pi * leaf * (place + 0.5) / 2 for place in range(5)]
    assert arcs[1] - arcs[0] == pytest.approx(ROUND * leaf)
