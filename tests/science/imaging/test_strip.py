"""The bench strip: what is drawn is found again, to a few parts in a million where it is sharp."""

import cv2
import numpy as np
import pytest

from quirewell.science.imaging import strip


def laid(um_per_px, turn_deg=0.0, seed=0, noise=1.0, size=(220.0, 60.0), shift=(15.0, 20.0)):
    """A strip on a dark ground, drawn fine and averaged down, in linear light."""
    fine = 4
    drawn = strip.draw_strip(31.25).astype(np.float32) / 255.0
    light = np.where(drawn <= 0.04045, drawn / 12.92, ((drawn + 0.055) / 1.055) ** 2.4)
    per_px = um_per_px / 31.25
    rows, columns = (round(mm * 1000 / um_per_px) for mm in reversed(size))
    turn = np.radians(turn_deg)
    step = fine / per_px
    c, s = np.cos(turn) * step, np.sin(turn) * step
    start = np.array(shift) * 1000 / um_per_px * fine - 0.5
    start = start + 0.5 * np.array([c - s, s + c])
    place = np.array([[c, -s, start[0]], [s, c, start[1]]])
    big = np.full((rows * fine, columns * fine), 0.02, np.float32)
    cv2.warpAffine(
        light.astype(np.float32),
        place,
        (columns * fine, rows * fine),
        dst=big,
        flags=cv2.INTER_AREA,
        borderMode=cv2.BORDER_TRANSPARENT,
    )
    small = cv2.resize(big, (columns, rows), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 0.45)
    encoded = np.where(small <= 0.0031308, 12.92 * small, 1.055 * small ** (1 / 2.4) - 0.055)
    grey = 255 * encoded + noise * np.random.default_rng(seed).standard_normal(small.shape)
    return np.clip(np.round(grey), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("um_per_px", [250.0, 169.0, 84.7])
@pytest.mark.parametrize("turn_deg", [0.0, 0.4, 91.0])
def test_finds_the_scale_it_was_drawn_with(um_per_px, turn_deg):
    upright = turn_deg > 45
    size, shift = ((60.0, 220.0), (40.0, 15.0)) if upright else ((220.0, 60.0), (15.0, 20.0))
    found = strip.find_strip(laid(um_per_px, turn_deg, size=size, shift=shift))
    assert found is not None and found.marks == 6
    along = found.um_per_px_y if upright else found.um_per_px_x
    u = np.sqrt(found.covariance[int(upright), int(upright)])
    assert along == pytest.approx(um_per_px, rel=8e-5)
    assert u < 5e-5
    assert found.turn_deg == pytest.approx(turn_deg, abs=0.02)


def test_scale_across_the_strip_is_known_less_well_and_says_so():
    found = strip.find_strip(laid(254.0, 0.3))
    assert found.covariance[1, 1] > 25 * found.covariance[0, 0]
    assert abs(found.um_per_px_y / 254.0 - 1) < 3 * np.sqrt(found.covariance[1, 1])


def test_grey_steps_read_what_was_printed():
    found = strip.find_strip(laid(169.0))
    assert found.greys == pytest.approx(strip.GREYS, abs=1.0)


def test_sixteen_bit_gives_the_same():
    grey = laid(169.0)
    wide = grey.astype(np.uint16) * 257
    eight, sixteen = strip.find_strip(grey), strip.find_strip(wide)
    assert sixteen.um_per_px_x == pytest.approx(eight.um_per_px_x, rel=1e-9)


def test_a_strip_cut_off_at_its_end_still_serves():
    grey = laid(169.0)
    found = strip.find_strip(np.ascontiguousarray(grey[:, : round(175.0 / 0.169)]))
    assert found.marks == 5
    assert found.um_per_px_x == pytest.approx(169.0, rel=2e-4)


def test_three_marks_side_by_side_are_refused():
    grey = laid(169.0)
    assert strip.find_strip(np.ascontiguousarray(grey[:, : round(80.0 / 0.169)])) is None


def test_a_picture_without_a_strip_has_none():
    noise = np.random.default_rng(1).integers(0, 255, (400, 600), dtype=np.uint8)
    assert strip.find_strip(noise) is None


def test_geometry_is_within_the_strip_and_marks_are_dark_on_light():
    parts = strip.strip_rectangles()
    for part in parts:
        assert part.x_mm >= 0 and part.x_mm + part.width_mm <= strip.STRIP_LENGTH_MM
        assert part.y_mm >= 0 and part.y_mm + part.height_mm <= strip.STRIP_HEIGHT_MM
    assert strip.NOMINAL_LENGTH_MM == 160.0
    drawn = strip.draw_strip(100.0)
    assert drawn.shape == (140, 1800)
    assert drawn[70, 20] == 255 and drawn[27, 58] == 0


def test_pixel_sizes_out_of_range_are_refused_in_a_sentence():
    with pytest.raises(ValueError, match="2 to 1000 um"):
        strip.draw_strip(0.0)
