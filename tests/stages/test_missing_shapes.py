"""Missing paper as shapes: the outline less the rim, shared out; nothing where they disagree."""

from __future__ import annotations

import pytest

from drawn_pages import PAGE, capture, run, state
from quirewell.record.finding import Finding
from quirewell.stages.missing_shapes import missing_shapes
from quirewell.stages.page_frame import framed
from quirewell.stages.proposing import proposals

ONE = capture()
# 0.2 mm a pixel from (100, 50): a corner of 10 x 8 mm gone at the upper left, a notch of 4 x 2 mm
# in the head edge 60 mm along.
RIM = "150,50 400,50 400,60 420,60 420,50 900,50 900,1250 100,1250 100,90"
# Boxes of pieces stand 3 mm (15 px) outside them.
CORNER, NOTCH, HOLE = "85,35,165,105", "385,35,435,75", "485,585,525,625"


def case(loss: float, losses: str, tears: str = "", rim: str = RIM):
    found = [Finding("r.loss", "leaf.loss_mm2", PAGE, loss, 0.5, "mm2")]
    made = run(
        ONE, "100,50 900,50 900,1250 100,1250", "head right foot left", width=160.0, height=240.0,
        drawing={"paper": rim, "losses": losses, "tears": tears}, findings=found,
    )  # fmt: skip
    now = state(ONE, runs=(made,))
    return now, made, framed(now, PAGE, ONE).frame


def test_each_piece_comes_once_with_its_place_and_its_share():
    # 0.5 * 10 * 8 and 4 * 2 mm2; the corner's box is named twice.
    _, made, frame = case(48.0, f"{CORNER} {NOTCH} {CORNER}")
    corner, notch = missing_shapes(made, frame)
    assert corner.share == pytest.approx(40 / 48, abs=0.02)
    assert notch.share == pytest.approx(8 / 48, abs=0.02)
    assert max(x for x, _ in corner.outline) == pytest.approx(10.0, abs=0.6)
    assert {round(x) for x, _ in notch.outline} <= {60, 64}


def test_a_hole_is_told_by_its_box_and_areas_are_then_not_shared_out():
    _, made, frame = case(50.0, f"{CORNER} {HOLE}")
    corner, hole = missing_shapes(made, frame)
    assert corner.share is None and hole.share is None
    assert hole.outline[0] == pytest.approx((80.0, 110.0))


def test_a_rim_that_does_not_fit_what_was_measured_tells_nothing():
    now, made, frame = case(20.0, f"{CORNER} {NOTCH}")
    assert missing_shapes(made, frame) == ()
    assert proposals(now, PAGE, ONE) == ()


def test_the_mouth_of_a_tear_is_not_proposed_as_a_loss_too():
    # A gap of 2 x 2 mm in the head edge; where a tear begins in it, it is that tear's mouth.
    narrow = RIM.replace("400,50 400,60 420,60 420,50", "405,50 405,60 415,60 415,50")
    plain, _, _ = case(44.0, f"{CORNER} {NOTCH}", rim=narrow)
    torn, _, _ = case(44.0, f"{CORNER} {NOTCH}", "410,52 412,110", rim=narrow)
    counts = [[one.term for one in proposals(now, PAGE, ONE)] for now in (plain, torn)]
    assert counts == [["loss", "loss"], ["loss"]]
