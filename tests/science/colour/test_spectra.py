"""Colour of spectra: the instrument's own spacing, missing ends, and what is refused."""

import numpy as np
import pytest

from quirewell.science.colour.spectra import BadSpectrum, even_spectrum, lab_of_spectrum
from spectral_bench import NM, papers


def test_ten_nanometres_give_the_colour_of_five():
    for row in papers(20, 3):
        fine = lab_of_spectrum(NM, row)
        coarse = lab_of_spectrum(NM[4:-16:2], row[4:-16:2])  # 400 to 700 nm
        assert coarse == pytest.approx(fine, abs=0.15)


def test_all_rows_at_once_are_each_one_alone():
    rows = papers(5, 4)
    whole = lab_of_spectrum(NM, rows, "D65", "10")
    assert whole == pytest.approx(np.array([lab_of_spectrum(NM, row, "D65", "10") for row in rows]))


def test_tanned_paper_is_dark_and_yellow():
    light, dark = papers(1, 5, share=0.1)[0], papers(1, 5)[0]
    one, two = lab_of_spectrum(NM, light), lab_of_spectrum(NM, dark)
    assert two[0] < one[0] and two[2] > one[2]


@pytest.mark.parametrize(
    ("nm", "says"),
    [
        (np.arange(450.0, 701.0, 10.0), "420 to 680"),
        (np.arange(400.0, 651.0, 10.0), "420 to 680"),
        (np.array([400.0, 440, 480, 520, 560, 600, 640, 680]), "20 nm apart"),
    ],
)
def test_spectra_with_holes_are_refused(nm, says):
    with pytest.raises(BadSpectrum, match=says):
        even_spectrum(nm, np.full(len(nm), 0.5))


def test_unlike_lengths_are_refused():
    with pytest.raises(BadSpectrum, match="3 reflectances for 4"):
        even_spectrum(np.arange(4.0), np.ones(3))
