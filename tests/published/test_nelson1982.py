"""Newsprint's grammage from its ream (``nelson1982``: 32 lb, 24 x 36 in, 500 sheets)."""

import pytest

from quirewell.science.paper.standards import grammage


def test_thirty_two_pounds_are_fifty_two_grams():
    assert grammage(32) == pytest.approx(52.1, abs=0.05)
