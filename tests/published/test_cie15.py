"""CIE 15 (``cie15``): white points of its illuminants and observers, CIELAB, whiteness and tint.

Chromaticities are the published ones, read in public code that carries them. The tables of the
observers and illuminants are summed here by 5 nm. Whiteness and tint of the three aged papers were
computed by another library: they hold our arithmetic to the equation and are no literature.
"""

import numpy as np
import pytest

from quirewell.science.colour.observers import matching, power, wavelengths_nm
from quirewell.science.colour.spaces import lab_from_xyz
from quirewell.science.colour.spectra import (
    cie_whiteness,
    lab_of_spectrum,
    white_of,
    xyz_of_spectrum,
)

WHITES = {
    ("C", "2"): (0.31006, 0.31616),
    ("D50", "2"): (0.34567, 0.35850),
    ("D65", "2"): (0.31272, 0.32903),
    ("C", "10"): (0.31039, 0.31905),
    ("D50", "10"): (0.34773, 0.35952),
    ("D65", "10"): (0.31382, 0.33100),
}


@pytest.mark.parametrize(("illuminant", "observer"), sorted(WHITES))
def test_white_points_are_the_published_ones(illuminant, observer):
    white = white_of(illuminant, observer)
    assert white[:2] / white.sum() == pytest.approx(WHITES[illuminant, observer], abs=6e-5)


def test_tables_are_the_standards_own_at_known_places():
    nm = wavelengths_nm()
    assert nm[0] == 380 and nm[-1] == 780 and len(nm) == 81
    assert matching("2")[nm == 555][0] == pytest.approx([0.51205, 1.0, 0.00575], abs=1e-4)
    assert [power(name)[nm == 560][0] for name in ("D50", "D65")] == [100.0, 100.0]


def test_the_perfect_diffuser_is_white_to_every_eye():
    nm = np.arange(380.0, 781.0, 10.0)
    for illuminant, observer in WHITES:
        found = lab_of_spectrum(nm, np.ones(len(nm)), illuminant, observer)
        assert found == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)


def test_lightness_of_an_eighteen_per_cent_grey():
    # L* = 116 cbrt(0.18) - 16
    assert lab_from_xyz(0.18 * np.array([0.9642956, 1.0, 0.8251046]))[0] == pytest.approx(
        49.496, abs=1e-3
    )


@pytest.mark.parametrize(("observer", "xy"), [("2", (0.3127, 0.329)), ("10", (0.31382, 0.331))])
def test_whiteness_of_the_perfect_diffuser_is_a_hundred_without_tint(observer, xy):
    white = np.array([xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]])
    found = cie_whiteness(white, observer)
    assert found.whiteness == pytest.approx(100.0, abs=1e-9) and found.valid
    assert found.tint == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("xyz", "whiteness", "tint"),
    [
        ((61.164, 64.066, 58.532), 18.87, -5.66),
        ((48.744, 49.887, 35.728), -57.79, -17.88),
        ((28.922, 28.123, 14.672), -147.39, -40.77),
    ],
)
def test_aged_pulp_lies_outside_the_validity_of_whiteness(xyz, whiteness, tint):
    found = cie_whiteness(np.array(xyz), "10")
    assert found.whiteness == pytest.approx(whiteness, abs=0.02)
    assert found.tint == pytest.approx(tint, abs=0.02)
    assert not found.valid and "near whites" in found.says


def test_a_grey_keeps_its_reflectance_as_luminance():
    nm = np.arange(400.0, 701.0, 10.0)
    found = xyz_of_spectrum(nm, np.full(len(nm), 0.42), "D65", "10")
    assert found == pytest.approx(0.42 * white_of("D65", "10"), rel=1e-12)
