"""Compiled colour maps against the float64 formulae."""

import numpy as np
import pytest

from quirewell.science.colour.difference import ciede2000
from quirewell.science.colour.maps import ciede2000_map, lab_map
from quirewell.science.colour.spaces import lab_from_linear, lab_from_srgb


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_lab_of_coded_pixels_is_that_of_the_formulae(kind):
    top = np.iinfo(kind).max
    pixels = np.random.default_rng(1).integers(0, top + 1, (200, 301, 3)).astype(kind)
    assert np.abs(lab_map(pixels) - lab_from_srgb(pixels / top)).max() < 0.003


def test_every_grey_of_sixteen_bits_is_right_to_a_thousandth():
    grey = np.repeat(np.arange(65536, dtype=np.uint16).reshape(256, 256, 1), 3, axis=2)
    assert np.abs(lab_map(grey) - lab_from_srgb(grey / 65535)).max() < 0.001


def test_light_beyond_white_and_below_black_is_carried_on():
    light = np.random.default_rng(2).uniform(-0.02, 1.4, (90, 80, 3)).astype(np.float32)
    assert np.abs(lab_map(light) - lab_from_linear(light)).max() < 0.003
    assert np.abs(lab_map(light.astype(np.float64)) - lab_from_linear(light)).max() < 0.003


def test_white_is_white():
    white = lab_map(np.full((1, 1, 3), 255, np.uint8))
    assert white[0, 0] == pytest.approx([100.0, 0.0, 0.0], abs=2e-4)


def test_a_pixel_without_light_known_stays_unknown():
    light = np.full((2, 2, 3), np.nan, np.float32)
    assert np.isnan(lab_map(light)).all()


@pytest.mark.parametrize("spread", [0.5, 5.0, 60.0])
def test_colour_difference_is_that_of_the_formula(spread):
    rng = np.random.default_rng(3)
    one = lab_from_srgb(rng.random((150, 160, 3))).astype(np.float32)
    two = (one + rng.normal(0, spread, one.shape)).astype(np.float32)
    assert np.abs(ciede2000_map(one, two) - ciede2000(one, two)).max() < 1e-4


def test_greys_and_nearly_opposite_hues_are_right():
    rng = np.random.default_rng(4)
    one = lab_from_srgb(rng.random((100, 100, 3)))
    grey = one * [1.0, 0.0, 0.0]
    for two in (grey, grey[::-1], one * [1.0, -1.0003, -1.0], one * [1.0, -1.0, -0.9997]):
        assert np.abs(ciede2000_map(one, two) - ciede2000(one, two)).max() < 1e-4
    assert np.abs(ciede2000_map(grey, one) - ciede2000(grey, one)).max() < 1e-4


def test_bands_give_the_same_bytes_whatever_their_number():
    pixels = np.random.default_rng(5).integers(0, 256, (700, 40, 3)).astype(np.uint8)
    whole = lab_map(pixels)
    parts = [lab_map(pixels[top : top + 50]) for top in range(0, 700, 50)]
    assert np.array_equal(whole, np.concatenate(parts))


def test_unlike_pictures_and_other_numbers_are_refused():
    with pytest.raises(ValueError, match="height x width x 3"):
        lab_map(np.zeros((4, 4), np.uint8))
    with pytest.raises(ValueError, match="uint8, uint16 or float"):
        lab_map(np.zeros((4, 4, 3), np.int32))
    with pytest.raises(ValueError, match="must be"):
        ciede2000_map(np.zeros((4, 4, 3)), np.zeros((4, 5, 3)))
