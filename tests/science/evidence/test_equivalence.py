from __future__ import annotations

import math
from decimal import Decimal

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


RATIOS = (0.25, 0.33, 0.5, 0.75, 1.0, 1.5, 2.0)


@pytest.mark.parametrize(
    ("chance", "share", "pairs"),
    [
        (0.8, 0.0, (139, 81, 36, 17, 11, 6, 4)),
        (0.8, 1 / 3, (225, 130, 58, 27, 16, 8, 6)),
        (0.9, 0.0, (175, 101, 45, 21, 13, 7, 5)),
    ],
)
def test_the_whole_table_of_pairs_by_margin_over_scatter(
    chance: float, share: float, pairs: tuple[int, ...]
) -> None:
    """Computed by a program of its own and checked there by 200 000 runs."""
    found = [pairs_needed(ratio, 1.0, chance, share * ratio) for ratio in RATIOS]
    assert found == list(pairs)


def test_power_to_five_digits() -> None:
    assert equivalence_power(12, 1.0, 1.0) == pytest.approx(0.88938, abs=6e-6)
    assert equivalence_power(6, 1.0, 1.0) == pytest.approx(0.40904, abs=6e-6)


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
    # Half a step could be hidden in every leaf at once: nothing is shown below a whole step.
    assert not result.passes and result.p == 1.0
    assert (result.low, result.high, result.smallest_margin) == (-0.5, 0.5, 0.5)
    wide = paired_equivalence([0.0] * 12, margin=0.5, resolution=0.5)
    assert wide.passes and wide.p < 1e-4


def test_equal_differences_without_resolution_are_refused() -> None:
    with pytest.raises(ValueError, match="give the step of the instrument"):
        paired_equivalence([0.0] * 12, margin=0.25)


def test_differences_that_only_arithmetic_parts_are_the_same() -> None:
    floats = [168.4 - 168.1, 0.3, 64.3 - 64.0]
    assert len(set(floats)) > 1
    assert paired_equivalence(floats, 1.0, 0.1).used_resolution


def test_decimals_are_centred_before_they_become_floats() -> None:
    near = [Decimal("1000000000000.1"), Decimal("1000000000000.2"), Decimal("1000000000000.3")]
    assert paired_equivalence(near, 2e12).sd == pytest.approx(0.1, rel=1e-12)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_what_is_no_number_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite number"):
        paired_equivalence([bad, bad], 1.0, 0.1)
    with pytest.raises(ValueError, match="finite number"):
        paired_equivalence([Decimal(bad), Decimal(bad)], 1.0, 0.1)
    with pytest.raises(ValueError):
        paired_equivalence([0.1, 0.2], math.nan)


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
