"""The split of the overhang: what no fold changes, the least of the worst, and the check after."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from quirewell.science.booklet.fold import (
    Split,
    allowance_of_first_fold,
    allowance_unknown,
    check,
    plan,
    split_at,
)
from quirewell.science.booklet.reading import Reading

OVER = st.floats(-3, 4)


def split(front, back, u=0.25):
    return Split(Reading(front, u), Reading(back, u))


@settings(deadline=None, derandomize=True)
@given(front=OVER, back=OVER, ask=st.tuples(OVER, OVER), tolerance=st.floats(0, 1), roll=OVER)
def test_front_and_back_together_stay_the_same(front, back, ask, tolerance, roll):
    made = plan(split(front, back), tolerance_mm=tolerance, asked=ask, roll=Reading(roll, 0.25))
    for one in made.choices:
        assert one.front.value + one.back.value == pytest.approx(front + back, abs=1e-9)
        assert one.front.value == pytest.approx(front + one.shift.value, abs=1e-9)
        assert one.crease_mm == pytest.approx(abs(one.shift.value))
    assert (made.front_range is None) == (front + back + 2 * tolerance < 0)
    assert made.advised in made.choices


@settings(deadline=None, derandomize=True)
@given(front=OVER, back=OVER, ask=st.tuples(OVER, OVER), tolerance=st.floats(0, 1))
def test_the_asked_split_is_the_least_of_the_worst(front, back, ask, tolerance):
    made = plan(split(front, back), tolerance_mm=tolerance, asked=ask)
    if made.front_range is None:
        return
    low, high = (one - front for one in made.front_range)
    program = optimize.linprog(
        [0, 1],
        A_ub=[[1, -1], [-1, -1], [-1, -1], [1, -1]],
        b_ub=[ask[0] - front, front - ask[0], ask[1] - back, back - ask[1]],
        bounds=[(low - 1e-12, high + 1e-12), (0, None)],
    )
    chosen = made.advised
    worst = max(abs(chosen.front.value - ask[0]), abs(chosen.back.value - ask[1]))
    assert chosen.name == "asked split" and chosen.possible
    assert worst == pytest.approx(program.fun, abs=1e-6)


def test_the_old_crease_is_kept_unless_there_is_a_reason():
    assert plan(split(1.4, 0.2)).advised.name == "keep the old crease"
    lacking = plan(split(2.4, -0.8)).advised
    assert lacking.name == "least shift" and lacking.shift.value == pytest.approx(-0.8)
    assert lacking.back.value == pytest.approx(0)
    assert plan(split(2.4, -0.3)).advised.name == "keep the old crease"
    assert plan(split(1.4, 0.2), roll=Reading(1.2, 0.2)).advised.name == "least roll"
    assert plan(split(1.4, 0.2), roll=Reading(0.3, 0.2)).advised.name == "keep the old crease"
    narrow = plan(split(-1.0, 0.2))
    assert narrow.front_range is None and narrow.advised.name == "even split"
    assert "too narrow" in narrow.says
    with pytest.raises(ValueError, match="0 mm or more"):
        plan(split(1, 1), tolerance_mm=-1)


def test_least_roll_lays_both_reading_edges_of_the_cover_on_one_another():
    made = plan(split(1.4, 0.2), roll=Reading(0.9, 0.1))
    one = next(one for one in made.choices if one.name == "least roll")
    assert one.front.value + 0.9 == pytest.approx(one.back.value)


def test_words_for_what_is_seen():
    looks = {one.name: one.looks for one in plan(split(1.4, -0.4)).choices}
    assert "clearly in front, 1.4 mm" in looks["keep the old crease"]
    assert "leaves stand out a little at the back, 0.4 mm" in looks["keep the old crease"]
    assert "line on the back, 0.9 mm" in looks["even split"]


def test_allowance_comes_back_from_a_first_fold():
    cover, block = Reading(370.5, 0.2), Reading(184.0, 0.2)
    now = split_at(cover, block, Reading(0.6, 0.1), Reading(185.6, 0.2))
    found = allowance_of_first_fold(cover, block, now.front, now.back)
    assert found.value == pytest.approx(0.6)
    assert now.total.value == pytest.approx(370.5 - 0.6 - 368)
    unknown = allowance_unknown(2.62)
    assert unknown.value == pytest.approx(1.3 * 2.62 / 4)
    assert unknown.low90 < 0.1 and unknown.high90 > 1.5
    with pytest.raises(ValueError, match="twice as wide"):
        split_at(block, block, unknown)
    with pytest.raises(ValueError, match="near the middle"):
        split_at(cover, block, unknown, Reading(12.0, 0.2))


@pytest.mark.parametrize("known", [True, False])
def test_bands_of_a_split_hold_the_truth(known):
    rng = np.random.default_rng(53)
    inside = np.zeros(3)
    for _ in range(500):
        a, at = rng.normal(0.8, 0.4), 185.25 + rng.normal(0, 0.5)
        front, back = at - a / 2 - 184, 370.5 - at - a / 2 - 184
        seen = split_at(
            Reading(370.5 + rng.normal(0, 0.2), 0.2), Reading(184 + rng.normal(0, 0.2), 0.2),
            Reading(0.8, 0.4), Reading(at + rng.normal(0, 0.2), 0.2) if known else None,
        )  # fmt: skip
        for place, (one, true) in enumerate(
            ((seen.front, front), (seen.back, back), (seen.total, front + back))
        ):
            inside[place] += one.low90 <= true <= one.high90
        half = (seen.back.value - seen.front.value) / 2
        assert abs(half - (back - front) / 2) < 5 * seen.u_uneven
    assert np.all(inside / 500 > 0.86) and np.all(inside / 500 < 0.98)


def test_check_tells_a_moved_fold_from_grown_paper():
    made = plan(split(1.4, 0.2))
    aim = made.advised
    right = check(aim, made.total, Reading(1.5, 0.25), Reading(0.2, 0.25))
    assert right.holds and "lies where it was meant" in right.says
    moved = check(aim, made.total, Reading(2.4, 0.25), Reading(-0.8, 0.25))
    assert not moved.holds and moved.off.value == pytest.approx(1.0)
    assert "1.00 mm off" in moved.says and "no fold does" not in moved.says
    grown = check(aim, made.total, Reading(2.1, 0.25), Reading(0.9, 0.25))
    assert "no fold does that" in grown.says and grown.grown.value == pytest.approx(1.4)
