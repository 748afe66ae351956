"""Missing area by share of a pixel; edges that run askew, gutters and small leaves."""

import cv2
import numpy as np
import pytest

from quirewell.demo.outline import Loss
from quirewell.demo.scenes import render_leaf
from quirewell.science.imaging.curved import Course, crooked_depth
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.loss import find_loss

DPI = 300
PX_MM = 25.4 / DPI
LOSSES = (
    Loss("chip", "head", 30.0, 0.0, 4.0, 2.2),
    Loss("chip", "left", 40.0, 0.0, 9.0, 4.0),
    Loss("corner", "right", 0.0, 0.0, 6.0, 5.0),
    Loss("hole", "", 50.0, 40.0, 2.8, 2.8),
)


@pytest.mark.parametrize("ground", ["dark", "white"])
def test_missing_area_is_right_to_two_per_cent(ground):
    pixels, truth = render_leaf(
        9, DPI, ground=ground, strip=False, losses=LOSSES, width_mm=90.0, height_mm=80.0,
        printed=False,
    )  # fmt: skip
    leaf = find_leaf(pixels, PX_MM)
    loss = find_loss(pixels, leaf, PX_MM)
    found = loss.area_px * truth.um_per_px_x * truth.um_per_px_y / 1e6
    assert found == pytest.approx(truth.loss_mm2, rel=0.02)
    assert len(loss.pieces) == 4


def test_an_edge_cut_askew_is_told_apart_from_missing_paper():
    pixels, truth = render_leaf(
        9, 150, strip=False, losses=(), width_mm=120.0, height_mm=90.0, skew_deg=0.0,
        printed=False,
    )  # fmt: skip
    px_mm = 25.4 / 150
    (x0, y0), (x1, y1) = truth.corners_px[0], truth.corners_px[1]
    cut = pixels.copy()
    # The last third of the head falls away by 0.8 mm, 1 in 50.
    start, depth = x0 + 0.66 * (x1 - x0), 0.8 / px_mm
    wedge = np.array([[start, y0], [x1 + 2, y1 + depth], [x1 + 2, y1 - 9], [start, y0 - 9]])
    cv2.fillPoly(cut, [np.round(wedge * 16).astype(np.int32)], (40, 40, 40), cv2.LINE_AA, 4)
    leaf = find_leaf(cut, px_mm)
    loss = find_loss(cut, leaf, px_mm)
    assert loss.area_px * px_mm**2 < 1.0
    said = " ".join(loss.warnings)
    assert "askew" in said or "not straight" in said


def test_the_gentle_part_of_a_course_counts_and_the_rim_of_a_chip_does_not():
    along = np.arange(0.0, 400.0, 10.0)
    depth = np.where((along >= 180) & (along <= 220), 30.0, 0.02 * along)
    course = Course(tuple(along), tuple(depth))
    askew = crooked_depth(course, 1.0, 0.0, 400.0)
    assert askew[100] == pytest.approx(2.0, abs=0.1)
    assert askew[200] < 6.0
    assert (crooked_depth(course, -1.0, 0.0, 400.0) == 0.0).all()


def test_a_facing_page_beyond_a_gutter_is_left_out():
    pixels, truth = render_leaf(4, 120, strip=False, losses=(), printed=False)
    px_mm = 25.4 / 120
    right = int(truth.corners_px[1][0])
    page = pixels[:, : right - 60].copy()
    gutter = page.shape[1] - 60
    shade = 1.0 - 0.25 * np.exp(-(((np.arange(page.shape[1]) - gutter) / 9.0) ** 2))
    page = np.clip(page * shade[None, :, None], 0, 255).astype(np.uint8)
    leaf = find_leaf(page, px_mm)
    assert "right" in leaf.missing
    assert any("gutter" in says and "panel left" in says for says in leaf.warnings)
    assert leaf.limits["right"].at(500.0) == pytest.approx(gutter, abs=6)


@pytest.mark.parametrize(("ground", "where"), [("dark", "low"), ("dark", "high"), ("white", "low")])
def test_a_small_leaf_in_a_corner_of_the_glass_is_found(ground, where):
    pixels, truth = render_leaf(
        3, 100, ground=ground, strip=False, losses=(), width_mm=60.0, height_mm=80.0
    )
    corners = np.array(truth.corners_px)
    x, y = corners.min(axis=0).astype(int) - 25
    part = pixels[max(0, y) : int(corners[:, 1].max()) + 25, x : int(corners[:, 0].max()) + 25]
    glass = np.tile(pixels[-40:, :40], (30, 22, 1))[: pixels.shape[0], : pixels.shape[1]].copy()
    top = 0 if where == "high" else glass.shape[0] - part.shape[0]
    glass[top : top + part.shape[0], : part.shape[1]] = part
    leaf = find_leaf(glass, 0.254)
    assert leaf is not None and leaf.missing == ()
    moved = corners - [x, max(0, y) - top]
    assert leaf.corners_px == pytest.approx(moved, abs=0.4)
