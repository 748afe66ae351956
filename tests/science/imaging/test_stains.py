"""Stains: planted ones come out with their area and kind; clean and printed paper has none."""

import cv2
import numpy as np
import pytest

from quirewell.demo.scenes import BEFORE, render_leaf
from quirewell.demo.tone import Ageing
from quirewell.science.colour.spaces import (
    lab_from_linear,
    light_of,
    linear_from_lab,
    srgb_from_linear,
)
from quirewell.science.imaging.leaf import find_leaf
from quirewell.science.imaging.leaf_tone import leaf_tone
from quirewell.science.imaging.stains import find_stains

DPI = 120
PX_MM = 25.4 / DPI
CLEAN = Ageing(BEFORE.centre, BEFORE.edge)


@pytest.fixture(scope="module")
def clean():
    return render_leaf(6, DPI, strip=False, losses=(), ageing=CLEAN, printed=False)[0]


def stained(pixels, mask, dL, db):
    """The picture with its CIELAB moved by (-dL, dL / 4, db) where ``mask`` (0..1) says."""
    lab = lab_from_linear(light_of(pixels))
    lab += mask[..., None] * np.array([-dL, 0.25 * dL, db])
    light = np.clip(linear_from_lab(lab), 0, 1)
    return np.clip(255 * srgb_from_linear(light) + 0.5, 0, 255).astype(np.uint8)


def ellipses(shape, shapes):
    mask = np.zeros(shape[:2], np.float32)
    for middle, axes in shapes:
        cv2.ellipse(mask, middle, axes, 20, 0, 360, 1.0, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(mask, (0, 0), 1.0)


def seen(pixels):
    leaf = find_leaf(pixels, PX_MM)
    tone = leaf_tone(pixels, leaf, PX_MM)
    return find_stains(pixels, leaf, tone.tiles, PX_MM)


def test_clean_paper_has_hardly_any_stain(clean):
    stains = seen(clean)
    # Pulp is mottled: a clean sheet comes out within two of its u of nothing.
    assert stains.area_pct < min(1.0, 2 * stains.u_threshold_pct)
    assert stains.least_L < 6.0 and stains.least_b < 4.0


def test_a_planted_stain_comes_out_with_its_area_and_strength(clean):
    mask = ellipses(clean.shape, [((400, 500), (80, 50))])
    stains = seen(stained(clean, mask, 9.0, 7.0))
    largest = stains.found[0]
    assert largest.area_mm2 == pytest.approx(np.pi * 80 * 50 * PX_MM**2, rel=0.06)
    assert largest.kind == "stain"
    assert largest.dL == pytest.approx(9.0, abs=1.5)
    assert largest.db == pytest.approx(7.0, abs=1.0)
    inside = np.array(
        [cv2.pointPolygonTest(largest.rim_px.astype(np.float32), (400.0, 500.0), True)]
    )
    assert inside[0] > 30


def test_the_share_lies_within_two_u_of_what_was_planted(clean):
    spots = [((300, 400), (60, 60)), ((600, 700), (90, 40)), ((420, 900), (30, 30))]
    mask = ellipses(clean.shape, spots)
    stains = seen(stained(clean, mask, 9.0, 7.0))
    true = 100.0 * mask.sum() * PX_MM**2 / stains.looked_mm2
    u = np.hypot(stains.u_threshold_pct, 100 * 0.3 / stains.looked_mm2)
    assert abs(stains.area_pct - true) <= max(2 * u, 0.15)


def test_foxing_is_counted_as_spots(clean):
    rng = np.random.default_rng(4)
    places = [(int(200 + 90 * i), int(350 + 150 * j)) for i in range(6) for j in range(4)]
    shapes = [(place, (int(rng.integers(4, 8)),) * 2) for place in places]
    stains = seen(stained(clean, ellipses(clean.shape, shapes), 16.0, 13.0))
    assert 22 <= stains.spots <= 27


def test_a_tideline_is_recognised_by_its_shape(clean):
    mask = np.zeros(clean.shape[:2], np.float32)
    x = np.arange(180, 800, 5)
    points = np.column_stack([x, 900 + 25 * np.sin(x / 90)]).astype(np.int32)
    cv2.polylines(mask, [points], False, 1.0, 9, cv2.LINE_AA)
    stains = seen(stained(clean, cv2.GaussianBlur(mask, (0, 0), 1.2), 12.0, 9.0))
    assert stains.tidelines >= 1
    assert stains.found[0].kind == "tideline"


def test_grey_marks_and_black_print_are_no_stains(clean):
    mask = ellipses(clean.shape, [((400, 500), (80, 50))])
    bare = seen(clean).area_pct
    assert seen(stained(clean, mask, 9.0, -1.0)).area_pct == pytest.approx(bare, abs=0.1)
    printed = render_leaf(6, DPI, strip=False, losses=(), ageing=CLEAN)[0]
    assert seen(printed).area_pct < 1.0


@pytest.mark.parametrize("ink", [(42.0, 58.0, 40.0), (71.0, 8.0, 58.0), (58.0, 40.0, 50.0)])
def test_solids_of_warm_ink_are_no_stains_and_a_stain_beside_them_is(clean, ink):
    mask = ellipses(clean.shape, [((400, 900), (60, 40))])
    pixels = stained(clean, mask, 9.0, 7.0)
    colour = np.round(255 * srgb_from_linear(linear_from_lab(np.array(ink)))).astype(np.uint8)
    pixels[300:700, 250:600] = colour
    stains = seen(cv2.GaussianBlur(pixels, (0, 0), 0.7))
    planted = np.pi * 60 * 40 * PX_MM**2
    assert stains.found[0].area_mm2 == pytest.approx(planted, rel=0.15)
    assert stains.area_pct * stains.looked_mm2 / 100 < planted + 0.02 * stains.looked_mm2
