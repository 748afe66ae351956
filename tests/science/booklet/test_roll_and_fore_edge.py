"""Roll, fore-edge and folds: tables of plain geometry, planted truth, what the next person sees."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quirewell.science.booklet.fore_edge import (
    Halves,
    fit_steps,
    halves_of_width,
    predict,
    roll_of_ramp,
)
from quirewell.science.booklet.reading import Reading
from quirewell.science.booklet.roll import (
    bevel,
    block_thickness,
    fold_offset,
    moves,
    roll_of_bevel,
    rolled,
)

THICK = block_thickness(28, Reading(0.085, 0.003), Reading(0.12, 0.01))


@pytest.mark.parametrize(
    ("degrees", "told"),
    [(5, 0.23), (10, 0.46), (15, 0.70), (20, 0.95), (30, 1.51), (45, 2.62)],
)
def test_bevel_of_a_block_of_262_mm(degrees, told):
    """T tan(theta), worked out by hand; the angle comes back."""
    assert THICK.value == pytest.approx(2.62)
    across = bevel(THICK, Reading(degrees, 0.0))
    assert across.value == pytest.approx(told, abs=0.0051)
    assert roll_of_bevel(across, THICK).value == pytest.approx(degrees)


def test_the_band_of_a_roll_holds_the_truth():
    rng = np.random.default_rng(41)
    inside = 0
    for _ in range(400):
        thick = Reading(2.62 + rng.normal(0, 0.08), 0.08)
        across = Reading(2.62 * math.tan(math.radians(15)) + rng.normal(0, 0.1), 0.1)
        roll = roll_of_bevel(across, thick)
        inside += roll.low90 <= 15 <= roll.high90
    assert 0.85 < inside / 400 < 0.95


def test_what_is_no_roll_is_refused():
    with pytest.raises(ValueError, match="thickness must be known"):
        roll_of_bevel(Reading(1, 0.1), Reading(0.5, 0.4))
    with pytest.raises(ValueError, match="up to 60"):
        roll_of_bevel(Reading(12, 0.1), Reading(2.6, 0.1))


def test_a_millimetre_of_fold_is_two_between_front_and_back():
    assert fold_offset(Reading(2.0, 0.5)) == Reading(1.0, 0.25)


@settings(deadline=None, derandomize=True)
@given(left=st.floats(170, 190), right=st.floats(170, 190))
def test_a_worked_fold_lies_in_the_middle(left, right):
    move = moves([Halves("w03", 3, right, left, 0.1)])[0]
    assert right + move.shift.value == pytest.approx(left - move.shift.value)
    assert move.crease_mm == (pytest.approx(abs(move.shift.value)) if move.worth else 0.0)


def test_moves_are_told_or_left():
    far, near = moves([Halves("w01", 1, 183.0, 184.4, 0.12), Halves("w02", 2, 183.6, 183.7, 0.12)])
    assert far.worth and "0.70 mm to the left" in far.says and "line on the front" in far.says
    assert not near.worth and "leave the fold" in near.says


def edge(rng, ramp, vee, step, leaves, read, sigma=0.25):
    out = []
    for leaf in read:
        j = leaf - (leaves + 1) / 2
        out.append(1 + ramp * j + vee * abs(j) + step * np.sign(j) + rng.normal(0, sigma))
    return out


def test_roll_creep_and_fold_separate_exactly():
    read = [1, 3, 9, 14, 15, 20, 26, 28]
    seen = fit_steps(read, edge(np.random.default_rng(1), 0.03, 0.11, 0.4, 28, read, 0.0), 28, 0.1)
    assert seen.ramp.value == pytest.approx(0.03) and seen.vee.value == pytest.approx(0.11)
    assert seen.step is not None and seen.step.value == pytest.approx(0.4)
    roll = roll_of_ramp(seen.ramp, 28, Reading(28 * 0.085, 0.0))
    assert math.tan(math.radians(roll.value)) == pytest.approx(0.03 / 0.085)


def test_bands_of_the_fore_edge_hold_the_truth():
    rng = np.random.default_rng(43)
    read = [1, 4, 8, 14, 15, 20, 24, 28]
    inside = np.zeros(3)
    for _ in range(300):
        seen = fit_steps(read, edge(rng, 0.02, 0.11, 0.3, 28, read), 28, 0.25)
        for at, (one, true) in enumerate(((seen.ramp, 0.02), (seen.vee, 0.11), (seen.step, 0.3))):
            assert one is not None
            inside[at] += one.low90 <= true <= one.high90
    assert np.all(inside / 300 > 0.86) and np.all(inside / 300 < 0.97)


def test_four_leaves_tell_roll_and_creep_but_not_the_fold():
    read = [1, 13, 16, 28]
    seen = fit_steps(read, edge(np.random.default_rng(2), 0.03, 0.1, 0.0, 28, read, 0.0), 28)
    assert seen.step is None and seen.vee.value == pytest.approx(0.1)
    with pytest.raises(ValueError, match="two of the back half"):
        fit_steps([1, 2, 3, 28], [0, 0, 0, 0], 28)
    with pytest.raises(ValueError, match="each read once"):
        fit_steps([1, 1, 3, 28], [0, 0, 0, 0], 28)


@settings(deadline=None, derandomize=True)
@given(kt=st.floats(0.05, 0.2), wraps=st.integers(4, 16))
def test_what_was_trimmed_in_one_cut_folds_flush(kt, wraps):
    """Widths that fall by 2 kappa t come to one plane again, front and back."""
    flat = [halves_of_width(f"w{i + 1:02d}", i + 1, 2 * (184 - kt * i), 0.1) for i in range(wraps)]
    for one in predict(flat, None, Reading(kt, 0.0)):
        assert one.front.value == pytest.approx(0, abs=1e-9)
        assert one.back.value == pytest.approx(0, abs=1e-9)


def test_equal_widths_stand_out_by_the_whole_creep():
    flat = [Halves(f"w{i:02d}", i, 184.0, 184.0, 0.1) for i in range(1, 15)]
    stands = predict(
        flat, Halves("c", 0, 185.0, 185.0, 0.1), Reading(1.3 * 0.085, 0.0), 0.12 / 0.085
    )
    innermost = stands[-1].front.value - stands[0].front.value
    assert innermost == pytest.approx(1.44, abs=0.005)
    assert stands[0].front.value == pytest.approx(-1 + 1.3 * (0.085 + 0.12) / 2)


def test_prediction_holds_the_truth():
    rng = np.random.default_rng(47)
    inside = many = 0
    for _ in range(200):
        kt = rng.normal(0.11, 0.01)
        true = [(184 - 0.1 * i + rng.normal(0, 0.2)) for i in range(9)]
        cover = 185.0
        seen = [Halves(f"w{i + 1:02d}", i + 1, t + rng.normal(0, 0.12), t, 0.12)
                for i, t in enumerate(true)]  # fmt: skip
        stands = predict(seen, Halves("c", 0, cover + rng.normal(0, 0.12), cover, 0.12),
                         Reading(0.11, 0.01), 1.4)  # fmt: skip
        for i, one in enumerate(stands):
            exact = true[i] + kt * (i + 1.2) - cover
            inside += one.front.low90 <= exact <= one.front.high90
            many += 1
    assert 0.86 < inside / many < 0.94


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        (1.4, 0.2, "the roll is less: the front reading edge stood +1.40 mm"),
        (0.2, 1.4, "the roll is more"),
        (1.0, -1.2, "the roll leans the other way now"),
        (1.4, 1.3, "no change of the roll was seen; one of 1.27 mm or more would surely"),
    ],
)
def test_roll_before_and_after_in_words(before, after, says):
    """u of the difference is 0.25 sqrt(2) = 0.354 mm; (1.960 + 1.645) of that is 1.27 mm."""
    held = rolled(Reading(before, 0.25), Reading(after, 0.25))
    assert held.says.startswith(says)
    assert held.change.u == pytest.approx(0.3536, abs=1e-4)
    assert held.smallest_mm == pytest.approx((1.959964 + 1.644854) * 0.35355, rel=1e-3)


def test_roll_is_called_as_often_as_was_promised():
    """One in twenty where nothing changed, 95 in 100 at the smallest change, of 4000 plantings."""
    rng = np.random.default_rng(19)

    def called(change):
        before, after = rng.normal(0.7, 0.25, 4000), rng.normal(0.7 + change, 0.25, 4000)
        return np.mean(
            [
                rolled(Reading(b, 0.25), Reading(a, 0.25)).changed
                for b, a in zip(before, after, strict=True)
            ]
        )

    smallest = rolled(Reading(0.7, 0.25), Reading(0.7, 0.25)).smallest_mm
    assert called(0.0) == pytest.approx(0.05, abs=0.014)
    assert called(smallest) == pytest.approx(0.95, abs=0.014)
