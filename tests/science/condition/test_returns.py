"""Grades that came back: the ridge against other solvers, planted weights, and its refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from quirewell.science.condition.estimate import Damage, Grading
from quirewell.science.condition.returns import (
    LEAST,
    NOISE,
    OFFSET,
    Return,
    calibrate,
    calibrated,
    forecast,
    honest_hits,
    ridge,
    starting,
)
from quirewell.science.condition.rules import Rule, Rules
from quirewell.science.condition.scale import TRADE
from quirewell.stages.rule_table import built_in

RULES = Rules(tuple(
    Rule(f"r{code}", f"c{code}", "deduct", unit="mm", value=0.1, cap=9, spread=0.4)
    for code in range(4)
))  # fmt: skip
TRUE = np.array([1.8, 0.5, 1.0, 1.3])


def planted(count: int, seed: int, codes: int = 12) -> tuple[np.ndarray, ...]:
    """Points off, what came back, points off of 300 more, and their true grades: weights off by
    40 % (standard deviation of the logarithm), an offset of -0.4, noise 0.5."""
    rng = np.random.default_rng(seed)
    weights = np.exp(0.4 * rng.standard_normal(codes))

    def items(many: int) -> np.ndarray:
        return rng.exponential(0.6, (many, codes)) * (rng.random((many, codes)) < 0.5)

    points = items(count)
    back = 9.6 - points @ weights + 0.5 * rng.standard_normal(count)
    more = items(300)
    return points, back, more, 9.6 - more @ weights


def rms(guess: np.ndarray, truth: np.ndarray) -> float:
    return float(np.sqrt(np.mean((guess - truth) ** 2)))


def sent(count: int, seed: int) -> list[Return]:
    """Items as noted, and steps of the scale that came back for them."""
    rng = np.random.default_rng(seed)
    out = []
    for index in range(count):
        extents = np.round(rng.exponential(8.0, 4) * (rng.random(4) < 0.7), 1)
        damages = tuple(Damage(f"c{i}", float(x), "mm", 0.3) for i, x in enumerate(extents) if x)
        raw = 9.7 - 0.1 * float(extents @ TRUE) + 0.3 * rng.standard_normal()
        out.append(Return(f"item {index:03d}", TRADE.floor(raw).value, damages))
    return out


def test_planted_weights_are_found_back_better_than_by_the_rules_or_by_plain_least_squares():
    """Our own simulation: medians of 40 runs of the error in points; the table with 150 runs
    stands in docs/science/condition.md. Up to 10 returns plain fitting is worse than the rules."""
    for count in (10, 20, 40):
        runs = []
        for seed in range(40):
            points, back, more, truth = planted(count, seed)
            fit = ridge(points, back)
            own = rms(10 + fit.offset - more @ fit.weights, truth)
            rows = np.hstack([-points, np.ones((count, 1))])
            plain = np.linalg.lstsq(rows, back - 10, rcond=None)[0]
            runs.append((own, rms(10 - more.sum(axis=1), truth),
                         rms(10 + plain[-1] - more @ plain[:-1], truth)))  # fmt: skip
        own, prior, plain_error = np.median(runs, axis=0)
        assert own < 0.75 * prior and own < plain_error
        if count == 10:
            assert plain_error > prior


def test_the_ridge_is_the_bounded_least_squares_of_another_solver():
    points, back, _, _ = planted(25, 5)
    fit = ridge(points, back, noise=NOISE)
    rows = np.vstack([
        np.hstack([-points, np.ones((25, 1))]) / NOISE,
        np.diag([*[1 / 0.4] * 12, 1 / OFFSET]),
    ])  # fmt: skip
    goal = np.r_[(back - 10) / NOISE, [1 / 0.4] * 12, 0.0]
    bounds = ([0.0] * 12 + [-np.inf], np.inf)
    peer = optimize.lsq_linear(rows, goal, bounds=bounds, tol=1e-14).x
    np.testing.assert_allclose([*fit.weights, fit.offset], peer, atol=1e-6)
    assert (fit.weights > 0).all()
    normal = np.linalg.solve(rows.T @ rows, rows.T @ goal)
    np.testing.assert_allclose([*fit.weights, fit.offset], normal, atol=1e-9)


def test_with_nothing_to_learn_from_the_ridge_gives_the_rules_back():
    fit = ridge(np.zeros((0, 3)), np.zeros(0))
    np.testing.assert_allclose(fit.weights, 1.0)
    assert fit.offset == pytest.approx(0.0)
    np.testing.assert_allclose(fit.covariance, starting(3).covariance)


def test_weights_are_never_below_zero():
    points = np.column_stack([np.linspace(0, 3, 30), np.linspace(3, 0, 30)])
    back = 10 + 0.8 * points[:, 0] - points[:, 1]
    fit = ridge(points, back, noise=0.1)
    assert fit.weights[0] == 0.0 and fit.weights[1] > 0


def test_a_forecast_is_the_normal_cut_at_the_steps():
    fit = starting(1)
    chances = forecast(fit, np.array([2.0]), TRADE)
    spread = np.sqrt(NOISE**2 + (2 * 0.4) ** 2 + OFFSET**2)
    at = TRADE.index(8.0)
    exact = stats.norm.cdf(8.5, 8, spread) - stats.norm.cdf(8, 8, spread)
    assert chances.sum() == pytest.approx(1.0) and chances[at] == pytest.approx(exact)


def test_below_ten_returns_nothing_is_changed_and_it_says_so():
    found = calibrate(sent(LEAST - 1, 1), RULES, TRADE)
    assert not found.enough and found.says.startswith("Not enough returns yet: 9")
    assert "Only what was sent comes back" in found.says
    assert calibrated(RULES, found) is RULES


def test_returns_turn_the_weights_towards_the_planted_ones_and_score_better():
    found = calibrate(sent(60, 2), RULES, TRADE)
    assert found.enough and found.score_before is not None and found.score_after is not None
    assert found.score_after < 0.8 * found.score_before
    weights = {code: (weight, u) for code, weight, u in found.weights}
    for code, true in enumerate(TRUE):
        weight, u = weights[f"c{code}"]
        assert abs(weight - true) < 3.5 * u and u < 0.4
    assert found.hits is not None and found.honest is not None
    assert found.honest[0] <= found.hits
    new = calibrated(RULES, found)
    assert RULES.codes["c0"][0].value == 0.1 < new.codes["c0"][0].value
    assert new.codes["c0"][0].note == "weight by 60 returns"
    assert [rule.kind for rule in new.rows].count("offset") == 1
    damage = (Damage("c0", 20.0, "mm"), Damage("c1", 20.0, "mm"))
    truth = 9.7 - 0.1 * 20 * (1.8 + 0.5)
    before, after = (Grading(damage, one, TRADE).estimate().raw for one in (RULES, new))
    assert abs(after.value - truth) < abs(before.value - truth)
    assert after.u < before.u


def test_bands_of_forecasts_hold_as_often_as_they_say():
    found = [calibrate(sent(count, seed), RULES, TRADE) for count in (15, 30) for seed in range(6)]
    inside = [one.honest[0] <= one.hits <= one.honest[1] for one in found if one.honest]
    assert len(inside) == 12 and sum(inside) >= 10  # each holds in 95 of 100 cases


def test_a_fit_that_forecasts_no_better_is_shown_and_not_used():
    """Returns that scatter evenly about the rules leave nothing to learn."""
    rng = np.random.default_rng(8)
    items = []
    for index in range(10):
        x = float(np.round(rng.uniform(1, 40), 1))
        grade = TRADE.floor(10 - 0.1 * x + (0.6 if index % 2 else -0.6)).value
        items.append(Return(f"item {index}", grade, (Damage("c0", x, "mm"),)))
    found = calibrate(items, RULES, TRADE)
    assert found.enough and found.score_before is not None and found.score_after is not None
    assert found.better == (found.score_after < found.score_before)
    assert not found.better and "no better, so the rules stay" in found.says
    assert calibrated(RULES, found) is RULES


def test_the_order_of_returns_does_not_matter():
    items = sent(15, 3)
    assert calibrate(items, RULES, TRADE) == calibrate(items[::-1], RULES, TRADE)


def test_items_that_a_ceiling_holds_are_set_aside_and_counted():
    split = Damage("spine_split", 90.0, "pct", 1.0, "spine")
    tear = Damage("tear_cover", 30.0, "mm", 1.0, "cover")
    items = [Return(f"held {i}", 2.0, (split,)) for i in range(4)]
    items += [Return(f"free {i}", 9.0, (tear,)) for i in range(9)]
    found = calibrate(items, built_in(), TRADE)
    assert (found.count, found.used) == (13, 9) and "4 more are held by a ceiling" in found.says
    with pytest.raises(ValueError, match="at least one"):
        calibrate([], built_in(), TRADE)


@pytest.mark.parametrize(("count", "low", "high"), [(10, 5, 10), (20, 12, 19), (40, 27, 37)])
def test_hits_that_honest_80_per_cent_bands_allow(count: int, low: int, high: int):
    """Exact binomial, computed twice: here from the probabilities themselves."""
    assert honest_hits(count) == (low, high)
    chances = stats.binom.pmf(np.arange(count + 1), count, 0.8)
    assert chances[:low].sum() < 0.025 <= chances[: low + 1].sum()
    assert chances[high + 1 :].sum() <= 0.025


@pytest.mark.parametrize(("count", "half"), [(5, 0.87), (10, 0.50), (20, 0.33), (40, 0.22)])
def test_why_nothing_is_changed_before_ten(count: int, half: float):
    """Half width of the 95 % band of a bias where grades scatter by 0.7: t s / sqrt(n)."""
    assert stats.t.ppf(0.975, count - 1) * 0.7 / count**0.5 == pytest.approx(half, abs=6e-3)
