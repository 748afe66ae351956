from __future__ import annotations

import itertools
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from quirewell.science.evidence.ordinal import leaves_for, moved, signed_rank

STEPS = st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=9)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_p_is_the_share_of_all_flips_by_trying_them(pairs: list[tuple[int, int]]) -> None:
    before, after = [one for one, _ in pairs], [two for _, two in pairs]
    found = signed_rank(before, after)
    change = np.array(after) - np.array(before)
    change = change[change != 0]
    assert found.same == len(pairs) - change.size
    ranks = stats.rankdata(np.abs(change)) if change.size else np.array([])
    assert found.v == pytest.approx(float(ranks[change < 0].sum()))
    flips = itertools.product([0, 1], repeat=change.size)
    sums = [float(np.array(flip) @ ranks) if change.size else 0.0 for flip in flips]
    assert found.p_down == pytest.approx(np.mean([one >= found.v - 1e-9 for one in sums]))
    assert found.p_up == pytest.approx(np.mean([one <= found.v + 1e-9 for one in sums]))
    turned = signed_rank(after, before)
    assert (turned.p, turned.p_down) == (pytest.approx(found.p), pytest.approx(found.p_up))


def test_equal_changes_tie_although_floats_would_part_them() -> None:
    # 0.3 - 0.1 and 0.4 - 0.2 differ as floats in their last digit.
    assert signed_rank([0.3, 0.4, 0.9], [0.1, 0.2, 0.8]).p_down == 1 / 8
    assert signed_rank([0.3, 0.4, 0.1], [0.1, 0.2, 0.3]).v == 4.0


def test_leaves_that_moved_by_less_than_a_step_stay() -> None:
    found = moved([Decimal("5.0"), 5, 5, 5], [Decimal("4.6"), 4, 6, 3], 1)
    assert (found.down, found.same, found.up) == (2, 1, 1)
    assert found.share == 0.75 and found.low90 < 0.75 < found.high90


def test_a_share_is_shown_rare_only_with_leaves_enough() -> None:
    assert leaves_for(0.10) == 29 and leaves_for(0.5) == 5
    assert moved([3] * 29, [3] * 29).rarer_than(0.10)
    assert not moved([3] * 28, [3] * 28).rarer_than(0.10)
    with pytest.raises(ValueError, match="allow a larger share"):
        leaves_for(0.0001)


def test_lists_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="partner"):
        signed_rank([1, 2], [1])
    with pytest.raises(ValueError, match="above 0"):
        moved([1], [1], 0)
