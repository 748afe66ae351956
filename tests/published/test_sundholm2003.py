"""Paper in 0.01 M calcium hydroxide (``sundholm2003``): the recipe is read in the source.

No pH was published: the one beside it is computed here, so this is a regression of the model.
"""

import pytest

from quirewell.science.bath import engine


def test_a_hundredth_molar():
    assert engine.speciate(0.01, 25.0).ph == pytest.approx(12.19, abs=0.03)
