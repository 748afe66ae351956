"""Yellowness coefficients of ASTM E313-15 (``astme313``): a white of each illuminant has none.

The white points are the chromaticities of the same standard's table, read in public code. The
newsprint values were computed with the standard's equation by another library: they hold our
arithmetic to it and are no literature.
"""

import numpy as np
import pytest

from quirewell.science.colour.spectra import white_of
from quirewell.science.colour.yellowness import E313, yellowness

WHITES = {
    "C/2": (0.3101, 0.3161),
    "D65/2": (0.3127, 0.3290),
    "C/10": (0.3104, 0.3191),
    "D65/10": (0.31382, 0.33100),
}


@pytest.mark.parametrize("seen_by", sorted(E313))
def test_white_is_not_yellow(seen_by):
    x, y = WHITES[seen_by]
    white = np.array([x / y, 1.0, (1 - x - y) / y])
    assert float(yellowness(white, seen_by)) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("seen_by", sorted(E313))
def test_white_summed_from_our_own_tables_is_not_yellow(seen_by):
    illuminant, observer = seen_by.split("/")
    assert float(yellowness(white_of(illuminant, observer), seen_by)) == pytest.approx(0, abs=0.06)


@pytest.mark.parametrize(
    ("xyz", "index"),
    [
        ((61.164, 64.066, 58.532), 19.187),
        ((48.744, 49.887, 35.728), 44.800),
        ((28.922, 28.123, 14.672), 73.843),
    ],
)
def test_worked_newsprint_values(xyz, index):
    assert float(yellowness(np.array(xyz), "D65/10")) == pytest.approx(index, abs=0.003)


def test_unknown_illuminant_is_refused_in_a_sentence():
    with pytest.raises(ValueError, match="D65/2"):
        yellowness(np.ones(3), "A/2")
