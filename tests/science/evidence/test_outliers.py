from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quirewell.science.evidence.outliers import deviates, grubbs, many


def test_two_that_hide_each_other_are_found_by_the_generalised_test_only() -> None:
    values = [10.0, 10.1, 9.9, 10.2, 9.8, 10.0, 10.1, 9.9, 14.0, 14.1]
    assert not grubbs(values).flagged
    assert set(many(values, 3)) == {8, 9}


def test_nothing_is_dropped_and_nothing_flagged_among_equal_values() -> None:
    values = [Decimal("5.0")] * 6
    assert not grubbs(values).flagged and many(values, 2) == ()
    assert values == [Decimal("5.0")] * 6


def test_false_flags_are_as_rare_as_promised() -> None:
    draws = np.random.default_rng(9).normal(size=(4000, 12))
    assert np.mean([grubbs(row.tolist()).flagged for row in draws]) == pytest.approx(
        0.05, abs=0.014
    )


@given(st.lists(st.integers(-1000, 1000), min_size=4, max_size=15), st.integers(0, 10**18))
def test_an_offset_and_the_order_do_not_matter(values: list[int], offset: int) -> None:
    plain = [Decimal(one) for one in values]
    far = [one + offset for one in plain]
    assert grubbs(plain).g == pytest.approx(grubbs(far).g, rel=1e-9)
    assert len(many(plain, 2)) == len(many(plain[::-1], 2))


def test_too_few_values_and_too_many_asked_for_are_refused() -> None:
    with pytest.raises(ValueError, match="3 values or more"):
        grubbs([1.0, 2.0])
    with pytest.raises(ValueError, match="can be looked for"):
        deviates([1.0, 2.0, 3.0], 2)
