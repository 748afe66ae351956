"""Krippendorff's alpha at four levels of scale on his example (``krippendorff2011``).

Standing: four observers, twelve units from memory, as is the print (.743 .815 .849 .797); that all
four computed values agree with it says that the table is the right one.
"""

from __future__ import annotations

import pytest

from quirewell.science.condition.agreement import Level, alpha

_ = None
OBSERVERS = [
    [1, 2, 3, 3, 2, 1, 4, 1, 2, _, _, _],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, _, 3],
    [_, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, _],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, _],
]


@pytest.mark.parametrize(
    ("level", "value"),
    [("nominal", 0.7434), ("ordinal", 0.8154), ("interval", 0.8491), ("ratio", 0.7974)],
)
def test_alpha_of_the_published_example(level: Level, value: float) -> None:
    assert alpha(OBSERVERS, level) == pytest.approx(value, abs=5e-5)
