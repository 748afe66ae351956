"""Pixels to millimetres of the page and back: against planted corners, and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drawn_pages import PAGE, capture, run, state, write
from quirewell.demo.outline import Loss
from quirewell.demo.scenes import render_leaf
from quirewell.record.finding import Input
from quirewell.record.nouns import Correction, Gathering
from quirewell.stages.methods import run_method
from quirewell.stages.page_frame import framed

BARE = Gathering(2)


def test_a_square_page_by_hand():
    # Corners at (100, 50) and 0.2 mm a pixel: (350, 300) lies 50 mm across and 50 mm down.
    one = capture()
    made = run(one, "100,50 900,50 900,1250 100,1250", "head right foot left", width=160.0,
               height=240.0)  # fmt: skip
    frame = framed(state(one, runs=(made,)), PAGE, one).frame
    assert frame.mm([(350.0, 300.0)])[0] == pytest.approx((50.0, 50.0))
    assert (frame.width_mm, frame.height_mm, frame.known) == (160.0, 240.0, "measured")


@pytest.mark.parametrize("turn", [0.0, 0.7, -3.0, 91.0])
def test_there_and_back_is_the_same_to_a_millionth_of_a_pixel(turn):
    angle = math.radians(turn)
    right, down = np.array([math.cos(angle), math.sin(angle)]), None
    down = np.array([-right[1], right[0]])
    begin = np.array([700.0, 80.0])
    corners = [begin, begin + 800 * right, begin + 800 * right + 1200 * down, begin + 1200 * down]
    one = capture()
    text = " ".join(f"{x:.6f},{y:.6f}" for x, y in corners)
    made = run(one, text, "head right foot left", width=160.3, height=239.1)
    frame = framed(state(one, runs=(made,)), PAGE, one).frame
    points = [(float(x), float(y)) for x, y in np.random.default_rng(3).uniform(0, 1400, (200, 2))]
    back = frame.px(frame.mm(points))
    assert np.abs(np.array(back) - points).max() < 1e-6
    # The page's own corners lie where they should whatever way it lies in the picture.
    there = frame.mm([tuple(corner) for corner in corners])
    wanted = [(0, 0), (160.3, 0), (160.3, 239.1), (0, 239.1)]
    assert np.abs(np.array(there) - wanted).max() < 1e-3


def test_the_planted_corners_lie_within_the_stated_uncertainty(tmp_path):
    for seed in range(4):
        pixels, truth = render_leaf(seed, 120, losses=(Loss("corner", "head", width_mm=9.0),))
        path = write(tmp_path / f"{seed}.tif", pixels, 120)
        done = run_method(
            "leaf.measure", PAGE, {"image": path}, (Input("image", "cap-1", "ab" * 32),), {}
        )
        one = capture(panel="whole", place=PAGE)
        frame = framed(state(one, runs=(done,), gathering=BARE), PAGE, one).frame
        # As planted: true size of a pixel, from the true upper left corner along the head edge.
        true = (np.array(truth.corners_px) - truth.corners_px[0]) * (
            np.array([truth.um_per_px_x, truth.um_per_px_y]) / 1000
        )
        right = true[1] / np.linalg.norm(true[1])
        wanted = np.column_stack([true @ right, true @ [-right[1], right[0]]])
        for is_at, said in zip(wanted, frame.mm(truth.corners_px), strict=True):
            assert math.dist(is_at, said) < 2 * frame.u_mm([tuple(is_at)]), seed
        assert frame.u_mm([(0.0, 0.0)]) < 0.1


def test_a_half_is_counted_from_its_own_corner_and_a_whole_sheet_from_the_fold():
    whole = capture(panel="whole")
    made = run(whole, "10,20 1950,20 1950,1345 10,1345", "head right foot left", width=388.0,
               height=265.0)  # fmt: skip
    now = state(whole, runs=(made,))
    left, right = (framed(now, f"w01.outer.{half}", whole).frame for half in ("left", "right"))
    assert left.mm([(10.0, 20.0)])[0] == pytest.approx((0.0, 0.0))
    assert right.mm([(980.0, 20.0)])[0] == pytest.approx((0.0, 0.0))
    assert right.u_mm([(0.0, 0.0)]) > left.u_mm([(0.0, 0.0)])
    assert left.width_mm == 194.0


def test_a_right_half_without_its_fold_is_counted_from_the_far_edge():
    one = capture(panel="right")
    made = run(one, "0,50 975,50 975,1375 0,1375", "head right foot", height=265.0)
    found = framed(state(one, runs=(made,)), "w01.outer.right", one)
    assert found.frame.mm([(975.0, 50.0)])[0] == pytest.approx((195.0, 0.0))
    assert found.frame.u_mm([(0.0, 0.0)]) >= 1.0
    assert framed(state(one, runs=(made,), gathering=BARE), "w01.outer.right", one).frame is None


def test_without_a_scale_the_pages_own_size_serves_and_the_cure_is_named():
    one = capture()
    made = run(one, "100,50 900,50 900,1250 100,1250", "head right foot left", um=None)
    found = framed(state(one, runs=(made,)), PAGE, one)
    assert found.frame.known == "size"
    assert found.frame.mm([(900.0, 1250.0)])[0] == pytest.approx((195.0, 265.0))
    assert found.frame.u_mm([(195.0, 265.0)]) > 1.0
    assert "bench strip" in found.says and "195 mm by 265 mm" in found.says
    bare = framed(state(one, runs=(made,), gathering=BARE), PAGE, one)
    assert bare.frame is None and "steel rule" in bare.says


def test_a_photograph_is_taken_to_be_filled_by_the_page_and_says_how_rough_that_is():
    phone = capture(view="phone")
    found = framed(state(phone), PAGE, phone)
    assert found.frame.known == "filled"
    assert found.frame.mm([(1000.0, 1400.0)])[0] == pytest.approx((195.0, 265.0))
    assert found.frame.u_mm([(195.0, 265.0)]) > 10
    assert "photograph is not measured" in found.says
    assert framed(state(phone, gathering=BARE), PAGE, phone).frame is None
    corners = Correction("cap-1", "100,90 880,120 900,1300 80,1280")
    given = framed(state(phone, corrections={"correction.cap-1": corners}), PAGE, phone).frame
    assert given.mm([(900.0, 1300.0)])[0] == pytest.approx((195.0, 265.0))
    assert given.u_mm([(195.0, 265.0)]) < 3


def test_one_page_pictured_as_a_sheet_is_not_guessed_at():
    one = capture(panel="whole")
    made = run(one, "10,20 985,20 985,1345 10,1345", "head right foot left", width=195.0,
               height=265.0)  # fmt: skip
    found = framed(state(one, runs=(made,)), PAGE, one)
    assert found.frame is None and "which" in found.says
