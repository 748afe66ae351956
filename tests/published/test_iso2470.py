"""R457 brightness (``iso2470``): its weights, and what they make of known reflectances.

The weights were read in public source code, not in the standard. What the standard's preview
states is checked: an effective wavelength of 457 nm and a half band of about 44 nm.
"""

import numpy as np
import pytest

from quirewell.science.colour.spectra import R457_NM, R457_WEIGHTS, BadSpectrum, r457

NORMALISED = [
    0.213, 1.430, 3.885, 7.364, 12.295, 17.609, 21.345, 18.933, 11.334, 4.333, 1.195, 0.064,
]  # fmt: skip


def test_weights_have_the_known_sum_and_the_known_shares():
    assert R457_WEIGHTS.sum() == pytest.approx(468.5, abs=1e-9)
    assert 100 * R457_WEIGHTS / R457_WEIGHTS.sum() == pytest.approx(NORMALISED, abs=6e-4)


def test_the_effective_wavelength_is_457_nm():
    middle = (R457_NM * R457_WEIGHTS).sum() / R457_WEIGHTS.sum()
    assert middle == pytest.approx(457.0, abs=0.2)


def test_the_half_band_is_about_44_nm():
    fine = np.arange(400.0, 510.0, 0.1)
    weight = np.interp(fine, R457_NM, R457_WEIGHTS)
    above = fine[weight >= 0.5 * weight.max()]
    assert above[-1] - above[0] == pytest.approx(44.0, abs=3.0)


def test_an_even_grey_is_as_bright_as_it_reflects():
    nm = np.arange(380.0, 741.0, 10.0)
    assert float(r457(nm, np.full(len(nm), 0.63))) == pytest.approx(63.0, abs=1e-9)


def test_a_step_in_the_blue_counts_by_its_weights():
    nm = np.arange(400.0, 701.0, 10.0)
    blue = np.where(nm <= 450.0, 0.5, 0.0)
    assert float(r457(nm, blue)) == pytest.approx(50.0 * sum(NORMALISED[:6]) / 100.0, abs=0.01)


def test_a_spectrum_that_leaves_out_the_blue_is_refused():
    with pytest.raises(BadSpectrum, match="400 to 510"):
        r457(np.arange(450.0, 701.0, 10.0), np.ones(26))
