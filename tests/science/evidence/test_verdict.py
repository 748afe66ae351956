from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from quirewell.science.evidence.verdict import (
    CANNOT_TELL,
    CHANGED,
    UNCHANGED,
    judge,
    smallest_shift,
)

QUIET = [0.02, -0.03, 0.01, 0.0, 0.02, -0.01]


def test_small_scatter_within_the_margin_is_unchanged() -> None:
    said = judge(QUIET, 0.1)
    assert (said.word, said.inside, said.shifted, said.beyond) == (UNCHANGED, True, False, False)
    assert said.power > 0.99 and said.needed is not None and said.needed <= 6


def test_a_clear_change_beyond_the_margin() -> None:
    said = judge([one - 0.5 for one in QUIET], 0.1)
    assert (said.word, said.inside, said.shifted, said.beyond) == (CHANGED, False, True, True)
    assert said.needed_as_seen is None  # no number of pairs shows it small


def test_a_change_that_does_not_matter_is_unchanged_and_says_that_it_moved() -> None:
    said = judge([one + 0.05 for one in QUIET], 0.1)
    assert said.word == UNCHANGED and said.shifted and said.inside


def test_wide_scatter_cannot_tell_and_says_what_it_would_take() -> None:
    said = judge([0.4, -0.5, 0.3, -0.2], 0.2)
    assert said.word == CANNOT_TELL and not said.shifted
    assert said.needed is not None and said.needed > 4
    assert said.smallest_seen > 0.2 and said.power < 0.2


def test_a_change_across_the_margin_is_changed_but_not_beyond_it() -> None:
    said = judge([one + 0.1 for one in QUIET], 0.1)
    assert said.word == CHANGED and not said.beyond


def test_a_rule_too_coarse_for_the_margin_cannot_tell_whatever_the_number() -> None:
    said = judge([Decimal(0)] * 40, Decimal("0.25"), Decimal("0.5"))
    assert said.word == CANNOT_TELL and said.equivalence.p == 1.0
    assert said.needed is None and said.power == 0.0 and said.smallest_seen > 0.5


@pytest.mark.parametrize("pairs", [2, 3, 6, 12])
def test_the_smallest_shift_is_seen_as_often_as_promised(pairs: int) -> None:
    rng = np.random.default_rng(11)
    shift = smallest_shift(pairs, 1.0)
    draws = rng.normal(shift, 1.0, (40000, pairs))
    reach = stats.t.ppf(0.95, pairs - 1) * draws.std(axis=1, ddof=1) / math.sqrt(pairs)
    seen = np.mean(np.abs(draws.mean(axis=1)) > reach)
    assert seen == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 40000))


@given(st.lists(st.integers(-30, 30), min_size=2, max_size=20), st.integers(1, 40))
def test_words_and_flags_agree_and_sign_does_not_matter(tenths: list[int], margin: int) -> None:
    values = [Decimal(one) / 10 for one in tenths]
    said = judge(values, Decimal(margin) / 10, Decimal("0.1"))
    turned = judge([-one for one in values], Decimal(margin) / 10, Decimal("0.1"))
    assert said.word == turned.word and not (said.inside and said.beyond)
    assert (said.word == UNCHANGED) == said.inside == said.equivalence.passes
    assert (said.word == CHANGED) == (said.shifted and not said.inside)
    assert said.equivalence.low <= said.equivalence.mean <= said.equivalence.high


@pytest.mark.parametrize("margin", [0.3, 1.0, 3.0])
def test_where_nothing_changed_changed_is_said_in_one_of_ten_at_most(margin: float) -> None:
    rng = np.random.default_rng(21)
    draws = rng.normal(0.0, 1.0, (3000, 6))
    reach = stats.t.ppf(0.95, 5) * draws.std(axis=1, ddof=1) / math.sqrt(6)
    mean = np.abs(draws.mean(axis=1))
    changed = (mean > reach) & (mean + reach > margin)
    words = [judge(row.tolist(), margin).word == CHANGED for row in draws[:200]]
    assert changed[:200].tolist() == words
    assert changed.mean() <= 0.10 + 4 * math.sqrt(0.1 * 0.9 / 3000)
