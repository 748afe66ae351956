"""A number in words: "±" only where its band reaches about as far to both sides."""

from __future__ import annotations

import pytest

from quirewell.record.finding import Finding
from quirewell.stages.asking import skewed


@pytest.mark.parametrize(
    ("low", "high", "lopsided"),
    [(8, 12, False), (7, 12.5, False), (8, 13, True), (4, 12, True), (10, 12, True)],
)
def test_a_band_is_lopsided_when_one_side_reaches_much_farther(low, high, lopsided):
    assert skewed(Finding("f", "heat.days", "item", 10.0, 2.0, low90=low, high90=high)) is lopsided


def test_without_a_band_there_is_nothing_lopsided():
    assert not skewed(Finding("f", "heat.days", "item", 10.0, 2.0))
    assert not skewed(Finding("f", "heat.says", "item", text="words"))
