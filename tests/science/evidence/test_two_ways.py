"""Steps over pairs: exact p values by hand and by scipy, and the rates over simulated trials."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from quirewell.science.evidence.equivalence import paired_equivalence
from quirewell.science.evidence.two_ways import by_steps, tail


def test_the_tail_counts_every_flip_of_the_signs() -> None:
    """Against all 2^7 flips written out, with ties and a zero."""
    values = np.array([2.0, -1.0, 1.0, 3.0, 0.0, 2.0, -4.0])
    ranks = stats.rankdata(np.abs(values[values != 0]))
    signs = np.sign(values[values != 0])
    seen = float(ranks[signs > 0].sum())
    flips = [
        sum(rank for rank, up in zip(ranks, flip, strict=True) if up)
        for flip in itertools.product((False, True), repeat=6)
    ]
    assert tail(values) == pytest.approx(np.mean([one >= seen for one in flips]), abs=1e-12)


def test_without_ties_it_is_the_signed_rank_test_of_scipy() -> None:
    values = np.array([6.0, 4.0, -1.0, 2.0, 0.5, 3.0, 7.5])
    expected = stats.wilcoxon(values, alternative="greater", method="exact").pvalue
    assert tail(values) == pytest.approx(expected, abs=1e-12)


def test_without_ties_the_interval_lies_at_the_tabled_means_of_two() -> None:
    """Ten pairs: the signed-rank table gives the eleventh mean of two from each end for 90 %."""
    values = np.random.default_rng(0).normal(size=10)
    one, two = np.triu_indices(10)
    means = np.sort((values[one] + values[two]) / 2)
    held = by_steps(values.tolist(), 1.0)
    assert held.low == pytest.approx(means[10], abs=1e-8)
    assert held.high == pytest.approx(means[-11], abs=1e-8)


def test_six_pairs_that_all_agree_are_alike_and_four_never_can_be() -> None:
    six, four = by_steps([0] * 6, 1), by_steps([0] * 4, 1)
    assert (six.p_alike, six.alike, six.low, six.high) == (1 / 64, True, 0.0, 0.0)
    assert six.flat and six.sd == pytest.approx(1 / 6**0.5)
    assert (four.p_alike, four.alike, four.low, four.least_margin) == (1 / 16, False, None, None)


def test_a_margin_finer_than_the_card_is_never_shown_and_none_below_a_step_would_pass() -> None:
    assert by_steps([0] * 6, 0.5).p_alike == 1.0
    assert by_steps([0] * 6, 1).least_margin == 1.0


def test_a_whole_step_apart_in_every_pair_is_apart_and_not_alike() -> None:
    held = by_steps([1] * 6, 1)
    assert held.apart and not held.alike and held.p_alike == 1.0
    assert by_steps([1] * 6, 2).alike


@pytest.mark.parametrize("pairs", [6, 8])
def test_steps_at_the_margin_are_called_alike_in_at_most_5_of_100_trials(pairs: int) -> None:
    """The true difference is the margin of two steps; the scatter is that of whole steps."""
    rng = np.random.default_rng(1936 + pairs)
    drawn = 2 + rng.integers(-2, 3, size=(3000, pairs))
    assert (
        _rate(drawn, lambda row: by_steps(row, 2.0).alike) <= 0.05 + 3 * (0.05 * 0.95 / 3000) ** 0.5
    )


def test_steps_without_a_difference_are_called_alike_most_often_and_apart_rarely() -> None:
    rng = np.random.default_rng(7)
    drawn = np.rint(rng.normal(0, 0.6, size=(2000, 8)))
    assert _rate(drawn, lambda row: _alike(np.array(row), 1.0)) > 0.80
    apart = _rate(drawn, lambda row: by_steps(row, 1.0).apart)
    assert apart <= 0.10 + 3 * (0.09 / 2000) ** 0.5


def _alike(row: NDArray[np.float64], margin: float) -> bool:
    """The verdict without its interval, held against the whole one on the way."""
    said = max(tail(row + margin), tail(margin - row)) <= 0.05
    if np.all(np.diff(row) >= 0) and row[0] == row[-2]:
        assert by_steps(row.tolist(), margin).alike == said
    return said


def _rate(drawn: NDArray[np.float64], says: Callable[[list[float]], bool]) -> float:
    """Share of trials of which ``says`` is true; trials that are the same are asked once."""
    rows, counts = np.unique(np.sort(drawn, axis=1), axis=0, return_counts=True)
    return float(np.average([says(row.tolist()) for row in rows], weights=counts))


def test_values_at_the_margin_are_called_alike_in_5_of_100_trials() -> None:
    """Differences of eight pairs, true mean at the margin: the t form, all trials at once."""
    rng = np.random.default_rng(1936)
    drawn = 1.0 + 0.4 * rng.normal(size=(8000, 8))
    mean, sd = drawn.mean(axis=1), drawn.std(axis=1, ddof=1)
    reach = stats.t.ppf(0.95, 7) * sd / 8**0.5
    alike = (mean + reach <= 1.0) & (mean - reach >= -1.0)
    assert alike.mean() == pytest.approx(0.05, abs=3 * (0.05 * 0.95 / 8000) ** 0.5)
    for row, expected in zip(drawn[:200], alike[:200], strict=True):
        assert paired_equivalence(row.tolist(), 1.0).passes == expected


@pytest.mark.parametrize(("values", "margin"), [([1.0], 1.0), ([1.0, 2.0], 0.0)])
def test_too_few_pairs_and_no_margin_are_refused(values: list[float], margin: float) -> None:
    with pytest.raises(ValueError, match=r"two pairs|above 0"):
        by_steps(values, margin)
