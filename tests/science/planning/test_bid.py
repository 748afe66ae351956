"""The highest bid: hand-worked cases in cents, odds against enumeration and drawing at random."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from quirewell.science.planning.bid import (
    ANSWERS,
    Bid,
    Fault,
    Level,
    Sign,
    Terms,
    chance_of,
    down_to_cents,
    grade_chances,
    mean_of,
)
from quirewell.science.planning.typed_range import Range

TRIM = Fault("trimmed", 0.2, 0.5)
RULE = Sign("rule", "trimmed", 0.8, 0.1)
HAND = Terms(post=5, hours=1, hourly=10, fee=0.10)


@pytest.mark.parametrize(
    ("terms", "highest"),
    [
        (Terms(), 100.00),
        (Terms(fee=0.12), 88.00),
        # 100 less 10 of fee, less 5 of post and 10 of work
        (HAND, 75.00),
        # 90 - 25 of grading - 3 of materials - 5 - 10
        (Terms(post=5, hours=1, hourly=10, fee=0.1, materials=3, grading=25), 47.00),
        # 10.8 is wanted: 90 - 15 - 10.80
        (Terms(post=5, hours=1, hourly=10, fee=0.1, want=10.8), 64.20),
        # a fifth of all put in: 90 / 1.2 - 15
        (Terms(post=5, hours=1, hourly=10, fee=0.1, want_share=0.2), 60.00),
        # a quarter on top of the bid: 75 / 1.25
        (Terms(post=5, hours=1, hourly=10, fee=0.1, premium=0.25), 60.00),
        # disclosure leaves 0.8, waiting takes 5 %: 100 x .9 x .95 x .8 - 15
        (Terms(post=5, hours=1, hourly=10, fee=0.1, wait=0.05, told=0.8), 53.40),
    ],
)
def test_the_highest_bid_by_hand(terms: Terms, highest: float) -> None:
    bid = Bid((Level(1.0, 100.0),), terms)
    assert down_to_cents(bid.highest()) == highest
    assert bid.surplus(highest) >= -1e-9
    assert bid.surplus(highest + 0.01) < 0


def test_two_grades_and_a_fault_by_hand() -> None:
    """.6 x 100 + .4 x 150 = 120; a fifth trimmed, which halves it: 108; less 12 %: 95.04."""
    bid = Bid((Level(0.6, 100.0), Level(0.4, 150.0)), Terms(fee=0.12, post=5.04), (TRIM,))
    assert bid.mean() == pytest.approx(95.04, abs=1e-9)
    assert down_to_cents(bid.highest()) == 90.00


def test_an_answer_by_hand() -> None:
    """Seen: .16 / (.16 + .08) = 2/3, so 90 (1 - 1/3) - 15 = 45. Fine: .04 / .76 = 1/19, so
    90 (1 - 1/38) - 15 = 72.63. At 60: .24 seen, worth .76 x 12.63 - (66 - 60) = 3.60."""
    bid = Bid((Level(1.0, 100.0),), HAND, (TRIM,), (RULE,))
    (asked,) = bid.questions(60.0)
    assert asked.chance_seen == pytest.approx(0.24)
    assert down_to_cents(asked.if_seen) == 45.00
    assert down_to_cents(asked.if_fine) == 72.63
    assert asked.worth == pytest.approx(3.60, abs=1e-9)
    assert {name: round(by, 9) for name, by in bid.falls()} == {
        "hours": 10.0, "fault:trimmed": 9.0, "fee": 9.0, "post": 5.0,
    }  # fmt: skip


def test_an_answer_that_decides_nothing_is_worth_nothing() -> None:
    bid = Bid((Level(1.0, 100.0),), HAND, (TRIM,), (RULE,))
    assert bid.questions(10.0)[0].worth == 0.0
    assert bid.questions(80.0)[0].worth == 0.0


def test_answers_average_back_to_what_is_known() -> None:
    """The law of total expectation: the mean over both answers is the mean before."""
    bid = Bid((Level(1.0, Range(50, 90, 200)),), HAND, (TRIM,), (RULE,))
    (asked,) = bid.questions(None)
    over = asked.chance_seen * asked.if_seen + (1 - asked.chance_seen) * asked.if_fine
    assert over == pytest.approx(bid.highest(), abs=1e-9)


@pytest.mark.parametrize(
    ("answers", "chance"),
    [
        ({}, 0.1),
        ({"a": "not seen", "b": "asked"}, 0.1),
        ({"a": "seen"}, 0.08 / (0.08 + 0.18)),
        ({"a": "fine"}, 0.02 / (0.02 + 0.72)),
        ({"a": "seen", "b": "fine"}, 0.08 * 0.5 / (0.08 * 0.5 + 0.18 * 0.9)),
        ({"a": "vouched"}, 0.05 / (0.05 + 0.9)),
        ({"a": "vouched", "b": "vouched"}, 0.05 / (0.05 + 0.9)),
    ],
)
def test_chances_by_bayes_rule(answers: dict[str, str], chance: float) -> None:
    signs = (Sign("a", "f", 0.8, 0.2), Sign("b", "f", 0.5, 0.1), Sign("c", "other", 0.9, 0.01))
    assert chance_of(Fault("f", 0.1, 0.5), signs, answers) == pytest.approx(chance, abs=1e-12)
    assert set(answers.values()) <= set(ANSWERS)


def test_odds_are_those_of_every_case_written_out() -> None:
    """Sure sums only: 3 grades x 2^3 faults, all 24 cases listed."""
    levels = (Level(0.3, 60.0), Level(0.5, 100.0), Level(0.2, 170.0))
    faults = (Fault("a", 0.2, 0.5), Fault("b", 0.3, 0.8), Fault("c", 0.1, 0.3))
    terms = Terms(fee=0.1, post=4)
    cases = []
    for level, there in itertools.product(levels, itertools.product((False, True), repeat=3)):
        chance, money = level.chance, mean_of(level.value) * 0.9
        for fault, is_there in zip(faults, there, strict=True):
            chance *= fault.chance if is_there else 1 - fault.chance
            money *= mean_of(fault.factor) if is_there else 1.0
        cases.append((money, chance))
    cases.sort()
    bid = Bid(levels, terms, faults)
    assert bid.mean() == pytest.approx(sum(money * chance for money, chance in cases), abs=1e-9)
    odds = bid.odds()
    for share in (0.1, 0.2, 0.35, 0.5, 0.8):
        below = np.cumsum([chance for _, chance in cases])
        exact = cases[int(np.searchsorted(below, share, side="right"))][0]
        assert odds.quantile(share) == pytest.approx(exact, rel=1e-3)
    for money in (30.0, 70.0, 100.0):
        exact_loss = sum(chance for one, chance in cases if one < money)
        assert bid.chance_of_loss(odds, money - 4) == pytest.approx(exact_loss, abs=1e-6)


def test_odds_are_those_of_draws() -> None:
    """400 000 draws, seed 7: within what so many draws tell (4 standard errors)."""
    levels = (Level(0.4, 80.0, 0.3, 0.1), Level(0.6, 120.0, 0.4))
    faults = (Fault("a", 0.2, Range(0.3, 0.5, 0.8)), Fault("b", 0.1, Range(0.1, 0.2, 0.4)))
    bid = Bid(levels, Terms(fee=0.12, hours=2, hourly=8, told=Range(0.6, 0.8, 0.9)), faults)
    rng = np.random.default_rng(7)
    n = 400_000
    first = rng.random(n) < 0.4
    sale = np.where(
        first,
        80 * np.exp(math.hypot(0.3, 0.1) * rng.standard_normal(n)),
        120 * np.exp(0.4 * rng.standard_normal(n)),
    )

    def pert(low: float, likely: float, high: float) -> np.ndarray:
        a = 1 + 4 * (likely - low) / (high - low)
        drawn: np.ndarray = stats.beta(a, 6 - a).rvs(n, random_state=rng)
        return low + (high - low) * drawn

    sale *= pert(0.6, 0.8, 0.9) * 0.88
    sale *= np.where(rng.random(n) < 0.2, pert(0.3, 0.5, 0.8), 1.0)
    sale *= np.where(rng.random(n) < 0.1, pert(0.1, 0.2, 0.4), 1.0)
    odds = bid.odds()
    for share in (0.05, 0.2, 0.5, 0.9):
        assert np.mean(sale < odds.quantile(share)) == pytest.approx(
            share, abs=4 * math.sqrt(share * (1 - share) / n)
        )
    for risk in (0.2, 0.5):
        at = bid.bid_at_risk(odds, risk)
        lost = np.mean(sale < bid.terms.spent + at)
        assert lost == pytest.approx(risk, abs=4 * math.sqrt(risk * (1 - risk) / n))


def test_one_range_has_the_quantiles_of_its_own() -> None:
    typed = Range(50, 90, 200)
    odds = Bid((Level(1.0, typed),), Terms()).odds()
    for share in (0.1, 0.2, 0.5, 0.9):
        assert odds.quantile(share) == pytest.approx(typed.quantile(share), rel=1e-3)


def test_a_worse_answer_never_raises_the_bid_in_2000_cases() -> None:
    rng = np.random.default_rng(3)
    for _ in range(2000):
        hit, false = np.sort(rng.uniform(0.02, 0.98, 2))[::-1]
        low, high = np.sort(rng.uniform(0.05, 1.0, 2))
        fault = Fault("f", float(rng.uniform(0.01, 0.6)), Range(low, (low + high) / 2, high))
        bids = [
            Bid(
                (Level(1.0, 100.0),), HAND, (fault,), (Sign("s", "f", float(hit), float(false)),),
                {"s": answer},
            ).highest()
            for answer in ("seen", "", "fine")
        ]  # fmt: skip
        assert bids == sorted(bids)


def test_doubt_about_a_median_widens_the_odds_and_leaves_the_mean() -> None:
    sure, unsure = (Bid((Level(1.0, 100.0, 0.3, u),), HAND) for u in (0.0, 0.4))
    assert sure.highest() == unsure.highest()
    assert unsure.odds().quantile(0.2) < sure.odds().quantile(0.2)


def test_grades_of_a_band_add_up_and_keep_its_mean() -> None:
    for low, likely, high in ((4.5, 6.0, 7.5), (0.5, 1.0, 2.5), (3.0, 3.0, 6.0)):
        found = grade_chances(low, likely, high)
        assert sum(chance for _, chance in found) == pytest.approx(1.0, abs=1e-12)
        mean = sum(grade * chance for grade, chance in found)
        assert mean == pytest.approx(Range(low, likely, high).mean, abs=0.06)
    assert grade_chances(5, 5, 5) == ((5, 1.0),)
