"""Peak flow by two meters, 17 people twice each (``bland1986``).

Standing: the table is from memory and no package here carries it; mean, standard deviation,
limits and both repeatabilities are computed from it and equal the print (-2.1, 38.8), also from
memory. That five figures come out of 68 readings says that the table is very likely the right one.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from quirewell.science.evidence.agreement_of_methods import limits
from quirewell.science.evidence.repeatability import pooled

LARGE = [
    (494, 490), (395, 397), (516, 512), (434, 401), (476, 470), (557, 611), (413, 415), (442, 431),
    (650, 638), (433, 429), (417, 420), (656, 633), (267, 275), (478, 492), (178, 165), (423, 372),
    (427, 421),
]  # fmt: skip
MINI = [
    (512, 525), (430, 415), (520, 508), (428, 444), (500, 500), (600, 625), (364, 460), (380, 390),
    (658, 642), (445, 432), (432, 420), (626, 605), (260, 227), (477, 467), (259, 268), (350, 370),
    (451, 443),
]  # fmt: skip


def _decimals(pairs: list[tuple[int, int]]) -> list[list[Decimal]]:
    return [[Decimal(one), Decimal(two)] for one, two in pairs]


def test_mean_scatter_and_limits_of_the_first_readings() -> None:
    found = limits([one for one, _ in LARGE], [one for one, _ in MINI], factor=2)
    assert found.mean == pytest.approx(-2.12, abs=5e-3)
    assert found.sd == pytest.approx(38.77, abs=5e-3)
    assert (found.low, found.high) == (
        pytest.approx(-79.6, abs=0.06),
        pytest.approx(75.4, abs=0.06),
    )
    assert found.u_mean == pytest.approx(9.40, abs=5e-3)
    assert found.u_limit == pytest.approx(16.3, abs=0.05)


@pytest.mark.parametrize(("pairs", "s_r"), [(LARGE, 15.31), (MINI, 19.91)])
def test_repeatability_of_each_meter(pairs: list[tuple[int, int]], s_r: float) -> None:
    found = pooled(_decimals(pairs), resolution=1)
    assert found.s_r == pytest.approx(s_r, abs=5e-3)
    assert found.dof == 17 and not found.resolution_holds
