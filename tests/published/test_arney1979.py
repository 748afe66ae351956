"""Newsprint in 0.02 % calcium hydroxide (``arney1979``): the recipe is read in the source.

No pH was published: the one beside it is computed here, so this is a regression of the model.
"""

import pytest

from quirewell.science.bath import engine
from quirewell.science.bath.constants import MOLAR_MASS_CAOH2


def test_two_tenths_of_a_gram_per_litre():
    assert engine.speciate(0.2 / MOLAR_MASS_CAOH2, 25.0).ph == pytest.approx(11.67, abs=0.03)
