"""Open tears: planted ones are found and followed, ordinary edges and print are none."""

import numpy as np
import pytest

from quirewell.demo.outline import Loss
from quirewell.demo.scans import DrawnSheet, sheet_plan
from quirewell.demo.scenes import render_leaf
from quirewell.demo.tears import Tear, true_length_mm, with_tears
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.strip import find_strip
from quirewell.science.imaging.tear_paths import collected, traced
from quirewell.science.imaging.tear_rules import off_rule
from quirewell.science.imaging.tear_strip import EdgeStrip
from quirewell.science.imaging.tears import find_tears

DPI = 200
PX_MM = 25.4 / DPI
PLANTED = (
    Tear("head", 60.0, 9.0, 0.5, 0.15, lean_deg=-20.0, bend_mm=0.6),
    Tear("right", 40.0, 5.0, 0.4, 0.15, lean_deg=30.0),
    Tear("foot", 50.0, 14.0, 0.45, 0.15, lean_deg=8.0, bend_mm=-1.0),
    Tear("left", 30.0, 3.6, 0.3, 0.15),
)


def leaf_with(tears, seed=11, **options):
    return render_leaf(
        seed, DPI, strip=False, losses=options.pop("losses", ()), width_mm=110.0,
        height_mm=options.pop("height_mm", 90.0), tears=tears, **options,
    )  # fmt: skip


def found(pixels):
    return find_tears(pixels, find_leaf(pixels, PX_MM), PX_MM)


@pytest.fixture(scope="module")
def torn():
    pixels, truth = leaf_with(PLANTED, printed=False)
    return found(pixels), truth


def test_every_planted_tear_is_found_once_and_nothing_else(torn):
    tears, _ = torn
    assert sorted(tear.side for tear in tears.found) == ["foot", "head", "left", "right"]


def test_lengths_come_within_a_millimetre_and_within_three_u(torn):
    tears, _ = torn
    for planted in PLANTED:
        tear = next(tear for tear in tears.found if tear.side == planted.edge)
        miss = tear.length_mm - true_length_mm(planted)
        assert abs(miss) <= 1.0
        assert abs(miss) <= 3 * np.hypot(tear.tip_u_mm, tear.course_u_mm)
        assert not tear.ends_in_print


def test_a_tear_is_placed_along_its_edge_and_drawn_from_mouth_to_tip(torn):
    tears, truth = torn
    head = next(tear for tear in tears.found if tear.side == "head")
    assert head.along_mm == pytest.approx(60.0, abs=0.7)
    left, right = np.array(truth.corners_px[0]), np.array(truth.corners_px[1])
    mouth = left + (right - left) * 60.0 / truth.width_mm
    assert head.course_px[0] == pytest.approx(mouth, abs=6)
    depth = head.course_px[-1][1] - head.course_px[0][1]
    assert depth * PX_MM == pytest.approx(9.0 * np.cos(np.radians(20.0)), abs=1.0)
    assert head.width_mm == pytest.approx(0.5, abs=0.2)


def test_a_tear_among_print_is_found_and_says_when_its_end_may_be_hidden():
    # Over a printed picture: the end is among dots.
    pixels, _ = leaf_with((Tear("left", 90.0, 22.0, 0.5, 0.2),), seed=5, height_mm=149.0)
    tears = found(pixels)
    assert [tear.side for tear in tears.found] == ["left"]
    assert tears.found[0].ends_in_print
    assert tears.found[0].tip_u_mm >= 4.0
    assert abs(tears.found[0].length_mm - 22.0) <= 2 * tears.found[0].tip_u_mm


def test_an_end_beside_print_that_nothing_goes_on_from_is_plainly_seen():
    pixels, _ = leaf_with((Tear("left", 45.0, 22.0, 0.5, 0.2),), seed=2, height_mm=149.0)
    (tear,) = found(pixels).found
    assert not tear.ends_in_print
    assert tear.tip_u_mm == 0.5
    assert abs(tear.length_mm - 22.0) <= 2 * tear.tip_u_mm


def test_a_tear_that_runs_into_a_printed_rule_is_cut_where_it_turns():
    step = 0.1
    rows = list(range(300))
    columns = [round(100 + 0.4 * min(row, 120)) for row in rows]
    strip = bare_strip((320, 300), step)
    cut = off_rule(strip, rows, columns)
    assert cut is not None
    without, kept, _ = cut
    assert abs(len(kept) * step - 12.0) <= 2.5
    assert (without.evidence[150:300, 148] < strip.needed[150:300, 148]).all()
    assert (strip.evidence[150:300, 148] > strip.needed[150:300, 148]).all()


def test_a_tear_that_runs_straight_on_is_not_cut():
    rows = list(range(300))
    columns = [round(100 + 0.02 * row) for row in rows]
    assert off_rule(bare_strip((320, 300), 0.1), rows, columns) is None


def bare_strip(shape, step):
    flat = np.full(shape, 0.5, np.float32)
    zero = np.zeros(shape, np.float32)
    return EdgeStrip(
        side="head", share=flat, evidence=flat.copy(), entry=np.zeros(shape, bool),
        needed=np.full(shape, 0.3, np.float32), x_px=zero, y_px=zero, step_mm=step, first_row=0,
        smallest_gap_mm=0.1, light=False, from_mm=0.0,
    )  # fmt: skip


def test_chips_corners_and_a_printed_page_hold_no_tear():
    losses = (
        Loss("chip", "head", 50.0, 0.0, 8.0, 4.0),
        Loss("chip", "left", 40.0, 0.0, 3.0, 3.0),
        Loss("corner", "right", 0.0, 0.0, 7.0, 9.0),
    )
    for seed in (3, 4):
        pixels, _ = leaf_with((), seed=seed, losses=losses, height_mm=149.0)
        assert found(pixels).found == ()


def test_nothing_is_looked_for_along_a_fold_or_without_ground():
    drawn = DrawnSheet(sheet_plan("w05", 1936), 100, 1936)
    pixels, _ = drawn.panel("outer", "left", "before", "dark")
    strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
    leaf = find_leaf(pixels, 0.254, "left", [strip.box_px])
    tears = find_tears(pixels, leaf, 0.254)
    assert all(tear.side != "right" for tear in tears.found)
    inner = np.ascontiguousarray(pixels[300:700, 200:500])
    assert find_tears(inner, find_leaf(inner, 0.254), 0.254) is None


def test_the_smallest_gap_that_shows_follows_the_pixel():
    tears = found(leaf_with((), printed=False)[0])
    assert tears.smallest_gap_mm == pytest.approx(1.2 * PX_MM, rel=0.1)


def test_a_path_follows_a_line_and_dies_in_a_gap():
    evidence = np.full((60, 40), -0.5, np.float32)
    for row in range(40):
        evidence[row, 10 + row // 4] = 1.0
    entry = np.zeros(evidence.shape, bool)
    entry[:3] = True
    needed = np.full(evidence.shape, 0.3, np.float32)
    total, state, back = collected(evidence, entry, needed, 0, 4, 5.0, 0.5)
    row, column = np.unravel_index(np.argmax(total), total.shape)
    assert abs(row - 39) <= 2
    rows, columns = traced(back, int(state[row, column]), int(row), int(column))
    assert rows[0] <= 2
    assert max(abs(c - 10 - r // 4) for r, c in zip(rows, columns, strict=True)) <= 1
    assert not np.isfinite(total[50:]).any()


def test_a_tear_that_begins_in_a_chip_is_refused_when_planting():
    from quirewell.demo.outline import draw_outline

    outline = draw_outline(
        np.random.default_rng(1), 100.0, 80.0, losses=(Loss("chip", "head", 50.0, 0.0, 9.0, 3.0),)
    )
    with pytest.raises(ValueError, match="no intact stretch"):
        with_tears(outline, (Tear("head", 50.0, 5.0),))
