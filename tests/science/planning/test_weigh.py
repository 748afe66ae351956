"""Options weighed: worked cases by hand, laws that must hold, means against plain drawing.

The worked cases are of the planning notes of this project (section 3.3, computed by hand from the
formulation of section 3.1); their check values are -17.916, 10.5, -28.416, +4 and -150.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quirewell.science.planning.weigh import (
    NOTHING,
    ONE,
    Case,
    Condition,
    Guess,
    Option,
    Prices,
    Terms,
    chances_of,
    gain,
    lines,
)
from quirewell.science.planning.weigh_change import (
    best,
    inputs,
    turns,
    worth_knowing,
    worth_knowing_grade,
)
from quirewell.science.planning.weigh_risk import draw_gains, risks

GRADES = np.array([3.0, 4.0, 5.0])
SENT = Terms(Guess(21, 21, 21), fee=40, per_item=1.5, insurance=0.006, wait=0.002, weeks=12)
LEAVE = Option("leave", "leave")
PRESS = Option("press", "press", hours=ONE, sent=True, chances=(0.2, 0.5, 0.3))


def by_hand(*options: Option, terms: Terms = SENT, spread: float = 0.0) -> Case:
    sure = Condition(GRADES, np.zeros((1, 2000), dtype=np.int64))
    prices = Prices(np.array([80.0, 140.0, 210.0]), now=100.0, luck=spread)
    return Case(sure, options, terms, prices)


def test_expected_gain_worked_by_hand() -> None:
    # 149 - 100 - 21 - 40 - 1.5 - 0.6 % of 140 - 0.2 % x 149 x 12 = -17.916: leave alone.
    case = by_hand(LEAVE, PRESS)
    assert gain(case, PRESS) == pytest.approx(-17.916, abs=1e-9)
    parts = dict(lines(case, PRESS))
    assert parts["price afterwards, on average"] == pytest.approx(149)
    assert parts["insurance"] == pytest.approx(-0.84)
    assert parts["waiting"] == pytest.approx(-3.576)
    assert best(case, (0, 1)) == 0


def test_expected_up_charge_worked_by_hand() -> None:
    # Above the ceiling of 150 with chance 0.3, where 35 more is asked: 10.5 more, -28.416.
    case = by_hand(LEAVE, PRESS, terms=replace(SENT, ceiling=150, next_fee=75))
    assert dict(lines(case, PRESS))["more fee above its ceiling"] == pytest.approx(-10.5)
    assert gain(case, PRESS) == pytest.approx(-28.416, abs=1e-9)


def test_a_next_fee_below_the_fee_is_no_gain_in_the_mean_nor_in_a_draw() -> None:
    case = by_hand(LEAVE, PRESS, terms=replace(SENT, ceiling=150, next_fee=20))
    assert gain(case, PRESS) == pytest.approx(-17.916, abs=1e-9)
    assert risks(case)[1].high90 == pytest.approx(210 - 166.916)


def test_press_beats_treat_worked_by_hand() -> None:
    # Treating adds 60 and costs 210; pressing adds 25 and costs 21: +4 against -150.
    grades = np.array([3.0, 4.0, 5.0])
    prices = Prices(np.array([100.0, 125.0, 160.0]))
    steps = np.array([[0], [1], [2], [2]])
    press = Option("press", "press", (0,), hours=ONE)
    treat = Option("treat", "full", (1,), hours=Guess(10, 10, 10))
    case = Case(Condition(grades, steps), (LEAVE, press, treat), Terms(Guess(21, 21, 21)), prices)
    assert gain(case, press) == pytest.approx(4)
    assert gain(case, treat) == pytest.approx(-150)
    assert best(case, (0, 1, 2)) == 1


def test_chance_of_loss_and_worst_fifth_of_the_worked_case() -> None:
    # Gains are 80, 140 and 210 less 166.916: a loss with 0.2 + 0.5; the worst fifth is grade 3.
    one = risks(by_hand(LEAVE, PRESS))[1]
    assert one.loss == pytest.approx(0.7, abs=3 * one.loss_error + 1e-9)
    assert one.worst == pytest.approx(80 - 166.916, abs=3 * one.worst_error + 0.01)
    assert one.low90 == pytest.approx(80 - 166.916)
    assert one.high90 == pytest.approx(210 - 166.916)


def test_the_drawn_mean_is_the_exact_one_also_with_luck_and_mishaps() -> None:
    press = replace(
        PRESS, mishap=Guess(0.05, 0.1, 0.3), loses=Guess(0.1, 0.3, 0.9), factor=Guess(0.7, 0.9, 1),
        hours=Guess(0.5, 1, 3),
    )  # fmt: skip
    case = by_hand(LEAVE, press, terms=replace(SENT, sale_fee=0.1), spread=0.4)
    gains = draw_gains(case)[1]
    error = gains.std() / math.sqrt(gains.size)
    assert gains.mean() == pytest.approx(gain(case, press), abs=4 * error)


def test_a_plain_drawing_of_its_own_agrees() -> None:
    """Another program: every number drawn afresh, no strata, no common draws."""
    rng = np.random.default_rng(7)
    steps = np.stack([rng.integers(0, 2, 2000), rng.integers(1, 3, 2000)])
    option = Option("o", "own", (0,), Guess(0.2, 0.6, 0.9), Guess(1, 2, 4), 3.0,
                    Guess(0.05, 0.1, 0.2), Guess(0.1, 0.3, 0.5), Guess(0.7, 0.9, 1.0))  # fmt: skip
    case = Case(Condition(GRADES, steps), (LEAVE, option), Terms(Guess(10, 12, 20), sale_fee=0.1),
                Prices(np.array([80.0, 140.0, 210.0]), luck=0.3))  # fmt: skip
    n = 400_000
    row = rng.integers(0, 2000, n)

    def pert(g: Guess) -> np.ndarray:
        place = (g.likely - g.low) / (g.high - g.low)
        return g.low + (g.high - g.low) * rng.beta(1 + 4 * place, 5 - 4 * place, n)

    well = (rng.random(n) < option.works.mean).astype(int)
    sale = np.exp(0.3 * rng.standard_normal(n) - 0.045)
    values = np.array([80.0, 140.0, 210.0])
    hit = rng.random(n) < option.mishap.mean
    after = (
        values[steps[well, row]] * pert(option.factor) * np.where(hit, 1 - pert(option.loses), 1)
    )
    plain = 0.9 * sale * (after - values[steps[0, row]])
    plain -= pert(option.hours) * pert(case.terms.hour) + 3
    ours = risks(case)[1]
    assert gain(case, option) == pytest.approx(plain.mean(), abs=4 * plain.std() / math.sqrt(n))
    assert ours.loss == pytest.approx((plain < 0).mean(), abs=4 * ours.loss_error + 0.004)
    worst = np.sort(plain)[: n // 5].mean()
    assert ours.worst == pytest.approx(worst, abs=4 * ours.worst_error + 0.3)
    assert ours.u == pytest.approx(plain.std(), rel=0.03)


def test_the_luck_of_the_sale_does_not_count_twice() -> None:
    """An option that changes nothing and costs 1 gains -1 for sure, whatever the sale brings."""
    option = Option("look", "own", (), materials=1.0)
    case = by_hand(LEAVE, option, terms=Terms())
    case = replace(case, prices=Prices(np.array([80.0, 140.0, 210.0]), luck=0.5, slope=0.2))
    assert np.allclose(draw_gains(case)[1], -1.0)


def test_the_mean_of_a_drawn_sale_is_the_mean_price() -> None:
    # Log-normal of mean 1: the mean factor exp(s^2/2) of the median (1.046 at s = 0.30).
    case = by_hand(LEAVE, replace(PRESS, chances=(0.0, 1.0, 0.0)), terms=Terms(), spread=0.30)
    gains = draw_gains(case)[1]
    price = gains / (1 - 100 / 140) / 140  # both sides meet the same sale
    assert price.mean() == pytest.approx(1.0, abs=0.002)
    assert price.mean() / np.median(price) == pytest.approx(1.046, abs=0.002)


guesses = st.tuples(*[st.floats(0, 1)] * 3).map(lambda ends: Guess(*sorted(ends)))


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Three repairs over five steps: none ever lowers a grade."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    lift = rng.integers(0, 3, (3, 40))
    now = rng.integers(0, 3, 40)
    rows = [
        np.minimum(now + sum(lift[b] * (row >> b & 1) for b in range(3)), 4) for row in range(8)
    ]
    values = np.cumsum(rng.uniform(1, 60, 5))
    option = Option(
        "o", "own", tuple(range(draw(st.integers(0, 3)))), draw(guesses), draw(guesses),
        draw(st.floats(0, 50)), draw(guesses), draw(guesses), draw(guesses), draw(st.booleans()),
    )  # fmt: skip
    terms = Terms(draw(guesses), draw(st.floats(0, 1)), draw(st.floats(0, 0.5)), fee=5.0,
                  ceiling=draw(st.floats(10, 300)), next_fee=9.0, insurance=0.01)  # fmt: skip
    grades = np.arange(1.0, 6.0)
    return Case(Condition(grades, np.array(rows)), (LEAVE, option), terms, Prices(values, luck=0.2))


@given(cases(), st.floats(0, 100))
@settings(max_examples=60, deadline=None)
def test_a_cost_never_raises_a_gain(case: Case, more: float) -> None:
    option = case.options[1]
    dearer = [
        (case, replace(option, materials=option.materials + more)),
        (replace(case, terms=replace(case.terms, fee=case.terms.fee + more,
                                     next_fee=case.terms.next_fee + more)), option),
        (replace(case, terms=replace(case.terms, hour=Guess(1, 1 + more, 1 + more))), option),
        (case, replace(option, mishap=ONE)),
    ]  # fmt: skip
    for changed, one in dearer:
        assert gain(changed, one) <= gain(case, option) + 1e-9


@given(cases())
@settings(max_examples=60, deadline=None)
def test_chances_add_up_to_one_and_lines_to_the_gain(case: Case) -> None:
    option = case.options[1]
    assert chances_of(case, option).sum() == pytest.approx(1.0, abs=1e-12)
    assert (chances_of(case, option) >= 0).all()
    assert sum(amount for _, amount in lines(case, option)) == pytest.approx(gain(case, option))
    assert gain(case, case.options[0]) == 0.0


@given(cases())
@settings(max_examples=60, deadline=None)
def test_a_repair_that_gains_nothing_never_helps(case: Case) -> None:
    """Doing more that mends nothing, at the same hours, gains no more; at more hours, less."""
    steps = np.concatenate([case.condition.steps, case.condition.steps])  # bit 3 changes nothing
    wider = replace(case, condition=Condition(case.condition.grades, steps))
    option = case.options[1]
    more = replace(option, repairs=(*option.repairs, 3))
    assert gain(wider, more) == pytest.approx(gain(case, option), abs=1e-9)
    assert gain(wider, replace(more, materials=option.materials + 1)) < gain(case, option)


@given(cases())
@settings(max_examples=30, deadline=None)
def test_knowing_a_number_is_never_worth_less_than_nothing(case: Case) -> None:
    assert all(worth_knowing(case, (0, 1), one) >= 0 for one in inputs(case))
    assert worth_knowing_grade(case, (0, 1)) >= 0


def test_the_break_even_of_an_hour_is_the_gain_by_the_hours() -> None:
    # Without the hour's cost the gain is 149 - 100 - 40 - 1.5 - 0.84 - 3.576 = 3.084 for one hour.
    case = by_hand(LEAVE, PRESS, terms=replace(SENT, hour=Guess(1, 2, 30)))
    found = {one.input.key: one for one in turns(case, (0, 1))}
    assert found["hour"].at == pytest.approx(3.084, abs=1e-6)
    assert found["hour"].side == "below"
    assert found["hour"].instead == 1


def test_perfect_knowledge_worked_by_hand() -> None:
    """An hour costs 0 to 2, evenly likely at the nodes; the option gains 1 less the hour: known
    beforehand it is chosen below 1 only. With 25 nodes of a beta(3, 3) about 1 the mean of
    max(0, 1 - x) is half the mean distance from 1."""
    option = Option("o", "own", hours=ONE, chances=(1.0, 0.0, 0.0))
    prices = Prices(np.array([101.0, 140.0, 210.0]), now=100.0)
    case = replace(by_hand(LEAVE, option, terms=Terms(Guess(0, 1, 2))), prices=prices)
    [one] = inputs(case)
    assert one.key == "hour"
    away = np.abs(Guess(0, 1, 2).at((np.arange(25) + 0.5) / 25) - 1).mean() / 2
    assert worth_knowing(case, (0, 1), one) == pytest.approx(away)


def test_guesses() -> None:
    # PERT: mean (low + 4 likely + high) / 6 (malcolm1959).
    assert Guess(1, 2, 9).mean == 3.0
    drawn = Guess(1, 2, 9).at((np.arange(4000) + 0.5) / 4000)
    assert drawn.mean() == pytest.approx(3.0, abs=1e-3)
    assert NOTHING.sure and NOTHING.mean == 0
    with pytest.raises(ValueError, match="go up"):
        Guess(2, 1, 3)
    with pytest.raises(ValueError, match="0 or more"):
        Guess(-1, 1, 3)
