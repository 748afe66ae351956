"""sRGB, XYZ and CIELAB D50: fixed points of the standards (``iec61966``, ``cie15``)."""

import numpy as np
import pytest

from quirewell.science.colour import spaces


def test_mid_grey_has_the_published_lightness():
    # iec61966 curve and cie15 formula give L* 53.389 for the value 0.5.
    lab = spaces.lab_from_srgb(np.array([0.5, 0.5, 0.5]))
    assert lab == pytest.approx([53.389, 0.0, 0.0], abs=5e-4)


def test_white_and_black():
    assert spaces.lab_from_srgb(np.ones(3)) == pytest.approx([100.0, 0.0, 0.0], abs=1e-6)
    assert spaces.lab_from_srgb(np.zeros(3)) == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_primaries_adapted_to_d50_are_those_of_srgb_profiles():
    # Colorant tags of sRGB profiles (ICC), rounded to four digits.
    published = [[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]]
    assert pytest.approx(np.array(published), abs=3e-4) == spaces.SRGB_TO_XYZ_D50


def test_coding_and_decoding_undo_each_other():
    values = np.linspace(0, 1, 1001)
    assert spaces.srgb_from_linear(spaces.linear_from_srgb(values)) == pytest.approx(
        values, abs=1e-6
    )


def test_lab_and_back():
    rng = np.random.default_rng(7)
    light = rng.random((500, 3))
    back = spaces.linear_from_lab(spaces.lab_from_linear(light))
    assert back == pytest.approx(light, abs=1e-9)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_table_of_light_is_the_curve(kind):
    top = np.iinfo(kind).max
    pixels = np.array([0, 1, top // 2, top], dtype=kind)
    assert spaces.light_of(pixels) == pytest.approx(spaces.linear_from_srgb(pixels / top), abs=1e-6)


def test_other_depths_are_refused():
    with pytest.raises(ValueError, match="8 or 16"):
        spaces.linear_table(12)
