"""The 24-patch target found by itself or by its corners, at any turn, and judged for its light."""

import numpy as np
import pytest

from chart_pictures import shoot
from quirewell.demo.scenes import render_leaf
from quirewell.science.colour.target24 import edition_lab
from quirewell.science.imaging.chart import NoChart, find_chart, flat_field
from quirewell.science.imaging.chart_light import chart_light

LAB = edition_lab("after-2014")
MIX = np.array([[0.8, 0.25, 0.05], [0.1, 0.85, 0.1], [0.02, 0.25, 0.6]])
SIZE = (600, 800)
X, Y = np.meshgrid(np.linspace(-1, 1, SIZE[1]), np.linspace(-1, 1, SIZE[0]))


def shot(seed=0, **planted):
    return shoot(seed, **{"size": SIZE, "scale": 1.6, "mix": MIX} | planted)


def apart(found, true):
    return np.hypot(*(found.middle_px - true.middle_px).T).max()


@pytest.mark.parametrize("turn", [0, 4, 37, 90, 148, 180, 200, 271, 325])
@pytest.mark.parametrize("tilt", [0.0, 0.25])
def test_it_is_found_at_any_turn_and_in_perspective(turn, tilt):
    picture = shot(turn, turn_deg=turn, tilt=tilt)
    found = find_chart(picture.pixels)
    assert apart(found, picture) < 6.0
    assert found.light == pytest.approx(picture.light, rel=0.02, abs=0.002)
    assert not found.clipped.any() and found.found == "by itself"
    assert abs((found.turn_deg - turn + 180) % 360 - 180) < 12


@pytest.mark.parametrize("ground", [0.02, 0.7])
@pytest.mark.parametrize("scale", [0.7, 2.1])
def test_on_dark_and_light_ground_small_and_large(ground, scale):
    picture = shot(3, turn_deg=8, ground=ground, scale=scale)
    assert apart(find_chart(picture.pixels), picture) < 6.0


def test_sixteen_bits_read_as_eight():
    eight, sixteen = shot(4, noise=0.2), shot(4, bits=16, noise=0.2)
    assert find_chart(sixteen.pixels).light == pytest.approx(
        find_chart(eight.pixels).light, abs=0.003
    )


@pytest.mark.parametrize("order", [(0, 5, 23, 18), (23, 0, 18, 5), (18, 23, 5, 0)])
def test_four_corners_in_any_order_do_as_well(order):
    picture = shot(5, turn_deg=190, tilt=0.2, clutter=False)
    found = find_chart(picture.pixels, picture.middle_px[list(order)])
    assert apart(found, picture) < 1.5 and found.found == "by its corners"


@pytest.mark.parametrize(
    ("corners", "says"),
    [
        ([[1, 1], [2, 2], [3, 3], [4, 4]], "line"),
        ([[-5, 1], [90, 2], [90, 90], [4, 90]], "in the picture"),
        ([[100, 100], [300, 100], [300, 250], [100, 250]], "not those of a 24-patch target"),
    ],
)
def test_corners_that_are_no_target_are_told_so(corners, says):
    with pytest.raises(NoChart, match=says):
        find_chart(shot(5).pixels, np.array(corners, float))


def test_a_leaf_is_no_target():
    with pytest.raises(NoChart, match="--corners"):
        find_chart(render_leaf(1, 60)[0])


def test_a_grid_of_other_colours_is_no_target():
    light = np.random.default_rng(8).uniform(0.03, 0.9, (24, 3))
    with pytest.raises(NoChart, match="other colours"):
        find_chart(shot(6, light=light).pixels)


def test_a_mirrored_picture_is_named():
    with pytest.raises(NoChart, match="mirrored"):
        find_chart(shot(7, mirrored=True).pixels)


def test_a_target_too_small_to_read_is_named():
    picture = shot(8, scale=0.16, clutter=False)
    with pytest.raises(NoChart, match=r"go closer|no 24-patch"):
        find_chart(picture.pixels, picture.middle_px[[0, 5, 23, 18]])


def test_even_light_is_even():
    lit = chart_light(find_chart(shot(9).pixels), LAB)
    assert lit.fault == "" and lit.used.all() and lit.slope < 0.02 and not lit.says


@pytest.mark.parametrize("turn", [0, 200])
def test_a_fall_of_light_is_measured(turn):
    lit = chart_light(find_chart(shot(10, turn_deg=turn, shade=1 - 0.3 * X).pixels), LAB)
    assert lit.fault == "uneven" and "flat field" in lit.says[-1]


@pytest.mark.parametrize(
    ("shade", "part"),
    [
        (np.where(X > 0.05, 0.55, 1.0), "right half"),
        (np.where(X < -0.1, 0.6, 1.0), "left half"),
        (np.where(Y < 0, 0.65, 1.0), "upper half"),
        (np.where(Y > 0.02, 0.6, 1.0), "lower half"),
    ],
)
def test_half_in_shadow_is_named_and_not_fitted(shade, part):
    lit = chart_light(find_chart(shot(11, shade=shade).pixels), LAB)
    assert lit.fault == "shadow" and part in lit.says[-1]


def test_a_flat_field_evens_the_light_out():
    shade = 1 - 0.3 * X
    sheet = np.clip(230 * shade ** (1 / 2.2) / 1.25, 0, 255)
    grain = sheet[..., None] + np.random.default_rng(1).normal(0, 2, (*SIZE, 3))
    flat = flat_field(np.clip(grain, 0, 255).astype(np.uint8))
    picture = shot(12, shade=shade, exposure=0.65)
    lit = chart_light(find_chart(picture.pixels, flat=flat), LAB)
    assert lit.fault == "" and lit.slope < 0.06


def test_glare_on_a_patch_is_left_out():
    picture = shot(13, exposure=0.6)
    x, y = picture.middle_px[14]
    spot = 90 * np.exp(
        -((np.arange(SIZE[1])[None] - x) ** 2 + (np.arange(SIZE[0])[:, None] - y) ** 2) / 2 / 25**2
    )
    glared = np.clip(picture.pixels + spot[..., None], 0, 255).astype(np.uint8)
    lit = chart_light(find_chart(glared), LAB)
    assert not lit.used[14] and lit.used.sum() >= 22 and lit.fault == ""
    assert "reflection" in " ".join(lit.says) or "burnt out" in " ".join(lit.says)


def test_burnt_out_patches_are_left_out_and_too_many_forbid_the_fit():
    some = chart_light(find_chart(shot(14, exposure=1.35).pixels), LAB)
    assert some.fault == "" and 18 <= some.used.sum() < 24 and "burnt out" in some.says[0]
    corners = shot(14).middle_px[[0, 5, 23, 18]]
    many = chart_light(find_chart(shot(14, exposure=2.4).pixels, corners), LAB)
    assert many.fault == "clipped" and "expose less" in many.says[0]
