"""How often "unchanged" is said wrongly when the true change IS the margin: at most 5 %.

Drawn with fixed seeds, tens of thousands of objects each; 0.4 points are Monte Carlo error
(four standard errors of 5 % in 50 000).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from quirewell.science.evidence.decimals import Array
from quirewell.science.evidence.equivalence import hidden_by_rounding, paired_equivalence
from quirewell.science.evidence.ordinal import moved

RUNS = 50_000
AT_MOST = 0.05 + 0.004


def passing(
    differences: Array, margin: float, step: float = 0.0, single: Array | float = 0.0
) -> Array:
    """``paired_equivalence(...).passes`` for every row at once (held to it below)."""
    count = differences.shape[1]
    mean, sd = differences.mean(axis=1), differences.std(axis=1, ddof=1)
    flat = np.ptp(differences, axis=1) < 1e-9
    sd = np.where(flat, step * np.sqrt(1 / 6), sd)
    reach = stats.t.ppf(0.95, count - 1) * sd / np.sqrt(count)
    spread = np.maximum(sd, single)
    hidden = np.array([hidden_by_rounding(float(one), step) for one in spread])
    hidden = np.where(flat, step, hidden)
    shared = (hidden == step) & (step > 0)
    reach = np.where(shared, np.maximum(reach, step), reach + hidden)
    return np.asarray(np.abs(mean) + reach <= margin)


def read_to(step: float, sizes: Array, scatter: float, rng: np.random.Generator) -> Array:
    """Readings of sizes with their scatter, rounded to the step of the rule."""
    return np.asarray(np.round((sizes + scatter * rng.normal(size=sizes.shape)) / step) * step)


def test_rows_at_once_are_the_test_itself() -> None:
    rng = np.random.default_rng(5)
    sizes = np.repeat(rng.uniform(0, 1, (300, 1)), 6, axis=1)
    rows = read_to(0.5, sizes + 0.5, 0.15, rng) - read_to(0.5, sizes, 0.15, rng)
    one_by_one = [paired_equivalence([float(d) for d in row], 0.75, 0.5).passes for row in rows]
    assert passing(rows, 0.75, 0.5).tolist() == one_by_one
    assert 0 < sum(one_by_one) < 300
    means = np.array([[float(d) for d in row] for row in rows / 4])
    spread = [paired_equivalence(list(row), 0.5, 0.5, single_sd=0.4).passes for row in means]
    assert passing(means, 0.5, 0.5, 0.4).tolist() == spread


@pytest.mark.parametrize("pairs", [4, 6, 12])
@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_exact_readings(pairs: int, ratio: float) -> None:
    rng = np.random.default_rng(pairs)
    rows = rng.normal(ratio, 1.0, (RUNS, pairs))
    assert passing(rows, ratio).mean() <= AT_MOST


@pytest.mark.parametrize("pairs", [4, 6, 12])
@pytest.mark.parametrize("alike", [True, False], ids=["leaves alike", "leaves unlike"])
@pytest.mark.parametrize("margin", [0.15, 0.25, 0.4, 0.5, 0.625, 0.75, 1.0])
@pytest.mark.parametrize("scatter", [0.0, 0.05, 0.15, 0.25, 0.5])
def test_readings_rounded_to_half_a_millimetre(
    pairs: int, alike: bool, margin: float, scatter: float
) -> None:
    """A steel rule read to 0.5 mm; leaves of one cut share where they lie on its scale."""
    rng = np.random.default_rng([pairs, alike, round(1000 * margin), round(1000 * scatter)])
    sizes = np.repeat(rng.uniform(0, 1, (10_000, 1)), pairs, axis=1)
    if not alike:
        sizes = sizes + rng.normal(0, 5, sizes.shape)
    rows = read_to(0.5, sizes + margin, scatter, rng) - read_to(0.5, sizes, scatter, rng)
    assert passing(rows, margin, 0.5).mean() <= 0.05 + 0.009  # four standard errors in 10 000


@pytest.mark.parametrize("leaves", [4, 12])
@pytest.mark.parametrize("margin", [0.25, 0.4, 0.625, 1.0])
@pytest.mark.parametrize("scatter", [0.0, 0.05, 0.1, 0.2, 0.25, 0.5])
def test_means_of_four_rounded_readings(leaves: int, margin: float, scatter: float) -> None:
    """Leaves alike, each read four times: the scatter of single readings spreads the rounding."""
    rng = np.random.default_rng([leaves, round(1000 * margin), round(1000 * scatter)])
    sizes = np.broadcast_to(rng.uniform(0, 1, (10_000, 1, 1)), (10_000, leaves, 4))
    rows = read_to(0.5, sizes + margin, scatter, rng) - read_to(0.5, sizes, scatter, rng)
    single = rows.reshape(len(rows), -1).std(axis=1, ddof=1)
    assert passing(rows.mean(axis=2), margin, 0.5, single).mean() <= 0.05 + 0.009
    same = read_to(0.5, sizes, scatter, rng) - read_to(0.5, sizes, scatter, rng)
    if scatter == 0.25 and leaves == 12 and margin >= 0.4:  # and it sees what there is to see
        spread = same.reshape(len(same), -1).std(axis=1, ddof=1)
        assert passing(same.mean(axis=2), margin, 0.5, spread).mean() > 0.95


def test_without_allowing_for_shared_rounding_half_of_it_would_be_wrong() -> None:
    """Why the step counts: leaves alike, a change of the margin, and a plain test says "none"."""
    rng = np.random.default_rng(12)
    sizes = np.repeat(rng.uniform(0, 1, (RUNS, 1)), 12, axis=1)
    rows = read_to(0.5, sizes + 0.25, 0.025, rng) - read_to(0.5, sizes, 0.025, rng)
    flat = np.ptp(rows, axis=1) < 1e-9
    sd = np.where(flat, 0.5 * np.sqrt(1 / 6), rows.std(axis=1, ddof=1))
    plain = np.abs(rows.mean(axis=1)) + stats.t.ppf(0.95, 11) * sd / np.sqrt(12) <= 0.25
    assert plain.mean() > 0.3 and flat.mean() > 0.3
    assert passing(rows, 0.25, 0.5).mean() == 0.0


@pytest.mark.parametrize(("leaves", "wrong"), [(6, 0.230), (12, 0.217)])
def test_readings_taken_for_leaves_break_it(leaves: int, wrong: float) -> None:
    """Why a reading is not a leaf: five readings each, as if they were five leaves."""
    rng = np.random.default_rng(leaves)
    margin, readings = 1.0, 5
    own = rng.normal(margin, 1.0, (RUNS, leaves, 1))
    every = own + rng.normal(0, 0.5, (RUNS, leaves, readings))
    pooled = every.reshape(RUNS, -1)
    assert passing(pooled, margin).mean() == pytest.approx(wrong, abs=0.03)
    assert passing(every.mean(axis=2), margin).mean() <= AT_MOST


def test_a_share_of_leaves_that_moved_is_bounded_as_promised() -> None:
    """At its limit, P(a step or more) = 30 %, it is said to be rarer in 5 % of cases at most."""
    for leaves in (6, 12, 30):
        chance = [float(stats.binom.pmf(hits, leaves, 0.3)) for hits in range(leaves + 1)]
        said = [
            moved([5] * leaves, [4] * hits + [5] * (leaves - hits)).rarer_than(0.3)
            for hits in range(leaves + 1)
        ]
        assert sum(c for c, s in zip(chance, said, strict=True) if s) <= 0.05
