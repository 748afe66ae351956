"""Grubbs' test on eight uranium readings (``tietjen1972``), as the NIST handbook works it.

Standing: G and its critical value read in the readme of a public R package that quotes the
handbook; the critical values by number of values are computed.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.science.evidence.outliers import grubbs, grubbs_critical

URANIUM = [
    Decimal(one)
    for one in ["199.31", "199.53", "200.19", "200.82", "201.92", "201.95", "202.18", "245.57"]
]


def test_the_largest_of_the_uranium_readings_is_flagged() -> None:
    found = grubbs(URANIUM, side="high")
    assert found.g == pytest.approx(2.468765, abs=5e-7)
    assert found.critical == pytest.approx(2.031652, abs=5e-7)
    assert found.index == 7 and found.flagged


def test_both_ways_and_looking_down() -> None:
    assert grubbs(URANIUM).flagged
    low = grubbs(URANIUM, side="low")
    assert low.index == 0 and not low.flagged


@pytest.mark.parametrize(
    ("n", "one", "two"),
    [(3, 1.153, 1.154), (5, 1.671, 1.715), (8, 2.032, 2.127), (10, 2.176, 2.290),
     (12, 2.285, 2.412), (20, 2.557, 2.708)],
)  # fmt: skip
def test_critical_values_at_5_percent(n: int, one: float, two: float) -> None:
    assert grubbs_critical(n, sides=1) == pytest.approx(one, abs=6e-4)
    assert grubbs_critical(n, sides=2) == pytest.approx(two, abs=6e-4)
