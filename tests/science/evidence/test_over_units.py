"""The mean over leaves with what they share: hand cases, the plain test as a limit, and how often
its verdicts hold where the truth is planted."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.evidence.equivalence import (
    equivalence_power,
    paired_equivalence,
    pairs_needed,
)
from quirewell.science.evidence.over_units import (
    chance_within,
    grouped,
    mean_change,
    units_needed,
)
from quirewell.science.evidence.uncertainty import BudgetTerm
from quirewell.science.evidence.verdict import judge

SIX = (0.1, -0.2, 0.3, 0.0, 0.2, -0.1)


def test_with_nothing_shared_it_is_the_plain_paired_test() -> None:
    plain, found = paired_equivalence(SIX, 0.5), mean_change(SIX)
    assert found.low == pytest.approx(plain.low, rel=1e-9)
    assert found.high == pytest.approx(plain.high, rel=1e-9)
    assert found.p(0.5) == pytest.approx(plain.p, rel=1e-9)
    assert found.would_pass == pytest.approx(plain.smallest_margin, rel=1e-9)


def test_the_rule_is_the_one_of_the_plain_verdict() -> None:
    plain, found = judge(SIX, 0.5), mean_change(SIX)
    assert found.word(0.5) == plain.word
    assert found.smallest_seen == pytest.approx(plain.smallest_seen, rel=1e-6)
    for values in ((0.3, 0.5, 0.4), (2.0, 2.2, 1.9), (0.5, -0.6, 0.1)):
        assert mean_change(values).word(0.6) == judge(values, 0.6).word


def test_six_leaves_by_hand() -> None:
    # Mean 0.05, squares about it 0.175, so s = sqrt(0.175/5) and s/sqrt(6) = 0.0763763; the
    # table's t at 0.95 with 5 degrees of freedom is 2.015 (any handbook).
    found = mean_change(SIX)
    assert found.mean == pytest.approx(0.05)
    assert found.sd == pytest.approx(math.sqrt(0.035))
    assert found.high - found.mean == pytest.approx(2.015 * 0.0763763, rel=1e-4)
    assert found.word(0.5) == "unchanged"
    assert found.word(0.2) == "cannot tell"


def test_what_leaves_share_does_not_shrink_with_their_number() -> None:
    air = BudgetTerm("humidity", 0.12)
    many = mean_change(SIX * 50, (air,))
    assert many.budget.u > 0.12
    assert many.would_pass > 1.64 * 0.12 + abs(many.mean)
    few = mean_change(SIX, (air,))
    # Welch-Satterthwaite by hand: (0.0763763^2 + 0.12^2)^2 / (0.0763763^4 / 5) = 60.16.
    assert few.dof == pytest.approx(60.2, abs=0.1)


def test_equal_differences_hide_up_to_a_step_on_every_leaf() -> None:
    found = mean_change([0.0] * 40, step=0.5)
    assert found.hidden
    # One change may be rounded away on every leaf at once: a whole step, however many leaves.
    assert (found.low, found.high) == (-0.5, 0.5)
    assert mean_change([0.0] * 1000, step=0.5).high == 0.5
    # What they share besides comes on top: 1.645 sqrt(0.204^2 + 0.204^2 / 40 + 0.5^2) = 0.891.
    shared = mean_change([0.0] * 40, (BudgetTerm("humidity", 0.5),), step=0.5)
    assert shared.high == pytest.approx(0.891, rel=2e-3)
    assert found.p(0.4) == 1.0 and found.word(0.4) == "cannot tell"
    assert found.word(0.5) == "unchanged"
    with pytest.raises(ValueError, match="step of the instrument"):
        mean_change([0.3, 0.3])


def test_no_scatter_below_the_rounding_is_believed() -> None:
    assert mean_change([0.0, 0.0, 0.0, 0.01], step=0.5).sd == pytest.approx(0.2041, rel=1e-3)


@pytest.mark.parametrize("margin", [0.3, 0.35, 0.4, 0.5, 0.625])
def test_leaves_cut_alike_and_read_in_coarse_steps_do_not_pass_a_change_at_the_margin(
    margin: float,
) -> None:
    """Twelve leaves cut alike, a rule read to 0.5 mm, a reading's own scatter of 0.025 mm, and a
    true change as large as the margin, over all places of the edge between two marks."""
    rng = np.random.default_rng(1936)
    runs, wrong = 1500, 0
    for _ in range(runs):
        edge = rng.uniform(0, 0.5)
        before = np.round((edge + rng.normal(0, 0.025, 12)) / 0.5) * 0.5
        after = np.round((edge + margin + rng.normal(0, 0.025, 12)) / 0.5) * 0.5
        wrong += mean_change(list(after - before), step=0.5).word(margin) == "unchanged"
    assert wrong / runs <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / runs)


def test_wraps_are_means_of_their_leaves() -> None:
    values = {"a": 1.0, "b": 3.0, "c": 5.0}
    assert grouped(values, {"a": "w1", "b": "w1", "c": "w2"}) == (2.0, 5.0)


@pytest.mark.parametrize(("units", "margin", "true"), [(6, 1.0, 0.0), (12, 0.5, 0.2), (3, 2.0, 0)])
def test_the_chance_is_the_exact_power_where_nothing_is_shared(
    units: int, margin: float, true: float
) -> None:
    exact = equivalence_power(units, margin, 0.5, true)
    assert chance_within(units, margin, 0.5, 0.0, true) == pytest.approx(exact, abs=2e-4)


def test_leaves_needed_agree_with_the_plain_count_and_can_be_out_of_reach() -> None:
    assert units_needed(1.0, 1.0) == pairs_needed(1.0, 1.0) == 11
    assert units_needed(0.5, 0.2, shared=0.4) is None
    assert units_needed(0.5, 0.2, true_change=0.6) is None


@pytest.mark.parametrize("shared", [0.0, 0.1])
def test_a_change_at_the_margin_passes_in_5_of_100_and_none_as_often_as_promised(
    shared: float,
) -> None:
    rng = np.random.default_rng(1936)
    terms = (BudgetTerm("humidity", shared),) if shared else ()

    def passes(true: float, margin: float = 0.5, units: int = 9, runs: int = 2000) -> float:
        hits = 0
        for _ in range(runs):
            drawn = rng.normal(true + rng.normal(0, shared), 0.4, units)
            hits += mean_change(drawn.tolist(), terms).word(margin) == "unchanged"
        return hits / runs

    # Three standard errors of a share of 5 in 100 over 2000 draws are 1.5 in 100.
    assert passes(0.5) <= 0.05 + 0.015
    promised = chance_within(9, 0.5, 0.4, shared)
    assert passes(0.0) == pytest.approx(promised, abs=0.035)


def test_a_change_of_the_size_surely_seen_is_called_in_95_of_100() -> None:
    rng = np.random.default_rng(7)
    true = mean_change((0.3, -0.3) * 100).smallest_seen  # many leaves: its own size hardly scatters
    calls = sum(
        mean_change(rng.normal(true, 0.3008, 200).tolist()).word(None) == "changed"
        for _ in range(1000)
    )
    assert calls / 1000 == pytest.approx(0.95, abs=0.025)


@pytest.mark.parametrize("wrong", [(1.0,), (), (1.0, math.nan), (1.0, math.inf)])
def test_what_cannot_be_judged_is_refused(wrong: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"2 leaves|finite"):
        mean_change(wrong)


@pytest.mark.parametrize("units", [2, 3, 4])
def test_few_leaves_make_what_is_surely_seen_large_and_never_fail(units: int) -> None:
    found = mean_change([0.0, 1.0, 0.5, 0.2][:units])
    assert 3.29 * found.budget.u < found.smallest_seen < 13 * found.budget.u
