"""Finding a leaf: planted sizes on every ground, half wraps, leaves without ground."""

import numpy as np
import pytest

from quirewell.demo.outline import Loss
from quirewell.demo.scans import DrawnSheet, sheet_plan
from quirewell.demo.scenes import render_leaf
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.loss import find_loss
from quirewell.science.imaging.scale import scale_from_dpi, scale_from_length, scale_from_strip
from quirewell.science.imaging.size import leaf_size
from quirewell.science.imaging.strip import find_strip

PX_MM = 0.254


def seen(pixels, panel="whole"):
    strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
    return find_leaf(pixels, PX_MM, panel, [strip.box_px] if strip else []), strip


@pytest.mark.parametrize(("ground", "seed"), [("dark", 3), ("white", 4), ("uneven", 5)])
def test_edges_lie_where_they_were_planted(ground, seed):
    pixels, truth = render_leaf(seed, 100, ground=ground)
    leaf, strip = seen(pixels)
    assert leaf.missing == ()
    assert leaf.on_light_ground == (ground == "white")
    allowed = 0.15 if ground == "white" else 0.08
    assert leaf.corners_px == pytest.approx(np.array(truth.corners_px), abs=allowed)
    scale = scale_from_strip(strip, truth.strip.length_mm, 0.0, 0.0)
    size = leaf_size(leaf, scale)
    assert size.width.value_mm == pytest.approx(truth.width_mm, abs=0.04)
    assert size.height.value_mm == pytest.approx(truth.height_mm, abs=0.04)
    assert size.squareness_deg == pytest.approx(truth.corner_deg - 90.0, abs=0.01)


def test_a_strip_beside_the_leaf_is_not_taken_for_it_even_on_a_dark_ground():
    pixels, truth = render_leaf(8, 100)
    leaf, strip = seen(pixels)
    lowest = leaf.corners_px[:, 1].max()
    assert lowest < strip.box_px[:, 1].min()
    assert lowest == pytest.approx(np.array(truth.corners_px)[:, 1].max(), abs=0.2)


@pytest.mark.parametrize("ground", ["dark", "white"])
@pytest.mark.parametrize("panel", ["left", "right"])
@pytest.mark.parametrize("code", ["w01", "c"])
def test_half_a_wrap_is_measured_from_fore_edge_to_fold(code, panel, ground):
    drawn = DrawnSheet(sheet_plan(code, 1936), 100, 1936)
    pixels, truth = drawn.panel("outer", panel, "before", ground)
    leaf, strip = seen(pixels, panel)
    assert leaf.fold == truth.fold
    scale = scale_from_strip(strip, truth.strip.length_mm, 0.0, 0.0)
    size = leaf_size(leaf, scale)
    assert size.width.value_mm == pytest.approx(truth.width_mm, abs=0.1)
    assert size.height.value_mm == pytest.approx(truth.height_mm, abs=0.05)
    assert size.width.budget.u > 0.1


def test_half_a_wrap_taken_for_a_whole_leaf_gives_no_width():
    drawn = DrawnSheet(sheet_plan("w05", 1936), 100, 1936)
    pixels, _ = drawn.panel("outer", "left", "before", "dark")
    leaf, _ = seen(pixels)
    assert leaf.missing == ("right",)
    size = leaf_size(leaf, scale_from_dpi((100.0, 100.0)))
    assert size.width.at_least and not size.height.at_least
    assert size.squareness_deg is None


def test_a_whole_leaf_said_to_be_half_a_wrap_has_no_fold():
    pixels, _ = render_leaf(6, 100)
    leaf, _ = seen(pixels, "left")
    assert leaf.fold is None
    assert any("fold was not found" in says for says in leaf.warnings)


def test_paper_cut_at_all_edges_has_no_outline():
    pixels, truth = render_leaf(3, 100, strip=False, losses=())
    corners = np.array(truth.corners_px)
    (x0, y0), (x1, y1) = corners.min(0) + 16, corners.max(0) - 16
    inner = np.ascontiguousarray(pixels[int(y0) : int(y1), int(x0) : int(x1)])
    leaf = find_leaf(inner, PX_MM)
    assert len(leaf.missing) == 4
    assert find_loss(inner, leaf, PX_MM) is None
    assert any("No ground shows" in says for says in leaf.warnings)


def test_a_picture_of_the_ground_alone_is_no_leaf():
    rng = np.random.default_rng(2)
    dark = np.clip(40 + 2 * rng.standard_normal((600, 500, 3)), 0, 255).astype(np.uint8)
    dark[290:310, 240:260] = 200
    assert find_leaf(dark, PX_MM) is None


@pytest.mark.parametrize("ground", ["dark", "white", "uneven"])
def test_missing_area_is_summed_to_a_few_per_cent(ground):
    losses = (
        Loss("chip", "right", 90.0, 0.0, 9.0, 4.0),
        Loss("chip", "head", 60.0, 0.0, 6.0, 3.0),
        Loss("corner", "foot", 0, 0, 10.0, 8.0),
    )
    pixels, truth = render_leaf(11, 150, ground=ground, losses=losses)
    strip = find_strip(np.ascontiguousarray(pixels[..., 1]))
    leaf = find_leaf(pixels, 25.4 / 150, "whole", [strip.box_px])
    loss = find_loss(pixels, leaf, 25.4 / 150)
    per_px = truth.um_per_px_x * truth.um_per_px_y / 1e6
    u = per_px * np.hypot(loss.u_rim_px, loss.u_outline_px)
    assert loss.area_px * per_px == pytest.approx(truth.loss_mm2, abs=max(2.5 * u, 1.5))
    assert len(loss.pieces) == 3
    assert u < 0.05 * truth.loss_mm2


def test_an_unhurt_leaf_has_no_loss():
    pixels, truth = render_leaf(11, 100, losses=())
    leaf, _ = seen(pixels)
    assert truth.loss_mm2 == 0
    assert find_loss(pixels, leaf, PX_MM).area_px == 0


def test_the_same_picture_at_sixteen_bits_gives_the_same_edges():
    pixels, _ = render_leaf(3, 100)
    eight, _ = seen(pixels)
    sixteen, _ = seen(pixels.astype(np.uint16) * 257)
    assert sixteen.corners_px == pytest.approx(eight.corners_px, abs=0.02)


def test_a_known_length_gives_a_scale_with_the_points_own_doubt():
    scale = scale_from_length(150.0, 0.1, (100.0, 50.0, 1600.0, 50.0))
    assert scale.um_per_px == pytest.approx(100.0)
    assert scale.u_pct == pytest.approx(100 * np.hypot(0.1 / 150, np.sqrt(0.5) / 1500), rel=1e-6)


def test_points_too_close_and_lengths_that_are_none_are_refused():
    with pytest.raises(ValueError, match="pixels apart"):
        scale_from_length(10.0, 0.1, (0.0, 0.0, 3.0, 0.0))
    with pytest.raises(ValueError, match="above 0"):
        scale_from_length(0.0, 0.1, (0.0, 0.0, 300.0, 0.0))
    with pytest.raises(ValueError, match="between 20"):
        scale_from_dpi((5.0, 5.0))


@pytest.mark.parametrize(("ground", "seed"), [("dark", 48), ("uneven", 114)])
def test_print_cut_at_the_edge_does_not_move_it(ground, seed):
    # The page of these leaves is taller than the leaf: lines of print run off its foot.
    pixels, truth = render_leaf(seed, 100, ground=ground)
    leaf, _ = seen(pixels)
    assert leaf.edges["foot"].share < 0.5
    assert leaf.corners_px == pytest.approx(np.array(truth.corners_px), abs=0.15)
