"""Two published recipes. Their composition is read in the source; the pH beside it is computed
here (no pH was published), so these are regressions of the model, not checks of it.

``arney1979``: newsprint in 0.02 % calcium hydroxide. ``sundholm2003``: 0.01 M calcium hydroxide.
"""

import pytest

from quirewell.science.bath import engine
from quirewell.science.bath.constants import MOLAR_MASS_CAOH2


def test_two_tenths_of_a_gram_per_litre():
    assert engine.speciate(0.2 / MOLAR_MASS_CAOH2, 25.0).ph == pytest.approx(11.67, abs=0.03)


def test_a_hundredth_molar():
    assert engine.speciate(0.01, 25.0).ph == pytest.approx(12.19, abs=0.03)
