"""Exact binomial limits (``clopper1934``), Wilson's interval (``wilson1927``), steps exactly.

Standing: computed (closed forms); 0 of 12 is 1 - 0.05^(1/12).
"""

from __future__ import annotations

import pytest

from quirewell.science.evidence.detectable import event_rate_interval, event_rate_limit
from quirewell.science.evidence.equivalence import sign_test
from quirewell.science.evidence.ordinal import moved, signed_rank
from quirewell.science.evidence.proportion import exact, upper, wilson


def test_nothing_bad_in_twelve_leaves_still_allows_a_fifth() -> None:
    assert event_rate_limit(0, 12) == pytest.approx(1 - 0.05 ** (1 / 12), rel=1e-12)
    assert event_rate_limit(0, 12) == pytest.approx(0.2209, abs=5e-5)


def test_three_of_ten_has_the_exact_interval() -> None:
    low, high = event_rate_interval(3, 10)
    assert (low, high) == (pytest.approx(0.0667, abs=5e-5), pytest.approx(0.6525, abs=5e-5))


def test_nine_steps_down_none_up_three_same() -> None:
    before = (4, 5, 5, 6, 4, 7, 5, 6, 3, 5, 6, 4)
    after = (3, 4, 5, 5, 4, 5, 4, 5, 3, 4, 4, 3)
    result = sign_test(before, after)
    assert (result.down, result.same, result.up) == (9, 3, 0)
    assert result.p == pytest.approx(2 / 2**9, rel=1e-12)
    # With every pair that moved going one way, flipping signs of ranks gives the same chance.
    assert signed_rank(before, after).p == pytest.approx(2 / 2**9, rel=1e-12)
    steps = moved(before, after, 1)
    assert (steps.down, steps.same, steps.up) == (9, 3, 0)
    assert steps.p == pytest.approx(0.00390625, rel=1e-12)


def test_wilson_and_exact_interval_of_three_in_ten() -> None:
    assert wilson(3, 10) == (pytest.approx(0.1078, abs=5e-5), pytest.approx(0.6032, abs=5e-5))
    assert exact(3, 10) == (pytest.approx(0.0667, abs=5e-5), pytest.approx(0.6525, abs=5e-5))
    assert upper(0, 12) == pytest.approx(0.2209, abs=5e-5)
