from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quirewell.science.evidence.equivalence import (
    equivalence_power,
    paired_equivalence,
    pairs_needed,
    sign_test,
)


@pytest.mark.parametrize(
    ("pairs", "ratio", "shift", "power"),
    [
        (12, 1.0, 0.0, 0.8894), (12, 0.6, 0.0, 0.2730), (24, 0.6, 0.0, 0.7723),
        (6, 1.0, 0.0, 0.4090), (15, 1.0, 0.0, 0.9578), (12, 1.0, 1 / 3, 0.6944),
    ],
)  # fmt: skip
def test_power_equals_the_computed_table(
    pairs: int, ratio: float, shift: float, power: float
) -> None:
    assert equivalence_power(pairs, ratio, 1.0, shift) == pytest.approx(power, abs=1e-4)


@pytest.mark.parametrize(
    ("ratio", "chance", "pairs"),
    [
        (1.0, 0.8, 11),
        (1.0, 0.9, 13),
        (0.5, 0.8, 36),
        (0.5, 0.9, 45),
        (2.0, 0.8, 4),
        (0.25, 0.8, 139),
    ],
)
def test_pairs_needed_equals_the_computed_table(ratio: float, chance: float, pairs: int) -> None:
    assert pairs_needed(ratio, 1.0, chance) == pairs


def test_power_agrees_with_simulation() -> None:
    rng = np.random.default_rng(7)
    draws = rng.normal(0.2, 1.0, (4000, 12))
    passed = np.mean([paired_equivalence(list(row), 1.0).passes for row in draws])
    expected = equivalence_power(12, 1.0, 1.0, 0.2)
    assert passed == pytest.approx(expected, abs=4 * math.sqrt(expected * (1 - expected) / 4000))


def test_equal_differences_fall_back_to_the_resolution() -> None:
    result = paired_equivalence([0.0] * 12, margin=0.25, resolution=0.5)
    assert result.used_resolution
    assert result.sd == pytest.approx(0.2041, abs=1e-4)
    assert result.passes


def test_equal_differences_without_resolution_are_refused() -> None:
    with pytest.raises(ValueError, match="give the step of the instrument"):
        paired_equivalence([0.0] * 12, margin=0.25)


@given(st.lists(st.floats(-5, 5), min_size=3, max_size=20), st.floats(0.1, 10))
def test_smallest_margin_is_where_the_test_turns(values: list[float], margin: float) -> None:
    result = paired_equivalence(values, margin, resolution=0.1)
    if abs(result.smallest_margin - margin) > 1e-6:
        assert result.passes == (result.smallest_margin < margin)


def test_a_change_outside_the_margin_can_never_be_proved_small() -> None:
    with pytest.raises(ValueError, match="not inside the margin"):
        pairs_needed(1.0, 1.0, true_change=1.0)


def test_sign_test_without_any_move_says_nothing() -> None:
    assert sign_test([1, 2], [1, 2]).p == 1.0
