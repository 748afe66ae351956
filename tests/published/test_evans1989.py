"""Degree of polymerisation from viscosity, two ways (``evans1989``), and where neither holds."""

import pytest

from quirewell.science.paper.standards import dp_from_viscosity


def test_the_two_ways_lie_a_quarter_apart():
    scan, evans = (dp_from_viscosity(300, by) for by in ("scan", "evans"))
    assert scan == pytest.approx(397.3, abs=0.1)
    assert evans == pytest.approx(495, abs=0.5)


def test_groundwood_is_refused():
    with pytest.raises(ValueError, match="groundwood"):
        dp_from_viscosity(300, "scan", lignin_pct=25)
