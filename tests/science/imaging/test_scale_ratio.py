from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from quirewell.science.imaging.scale_ratio import scale_ratio


@dataclass(frozen=True)
class _Strip:
    um_per_px_x: float
    um_per_px_y: float
    covariance: NDArray[np.float64]


def _strip(x: float, y: float, u_x: float = 2e-5, u_y: float = 4e-4) -> _Strip:
    return _Strip(x, y, np.diag([u_x**2, u_y**2]))


def test_strips_decide_where_they_are_sharp_and_the_scanner_where_they_are_not() -> None:
    ratio = scale_ratio(_strip(84.67, 84.67), _strip(84.70, 84.70), 300.0, 300.0)
    true = 84.70 / 84.67
    assert ratio.x == pytest.approx(true, abs=1e-5)
    assert 1.0 < ratio.y < true
    assert ratio.u_x < 4e-5
    assert ratio.u_y < 3e-4
    assert not ratio.warnings


def test_a_scale_that_one_scanner_cannot_have_is_believed_of_the_strip_and_warned_of() -> None:
    ratio = scale_ratio(_strip(84.67, 84.67), _strip(85.1, 85.1), 300.0, 300.0)
    assert ratio.x == pytest.approx(85.1 / 84.67, rel=1e-9)
    assert "differ in scale" in ratio.warnings[0]


def test_without_strips_the_stated_resolutions_give_the_ratio() -> None:
    same = scale_ratio(None, None, 300.0, 300.0)
    other = scale_ratio(None, _strip(1, 1), 300.0, 600.0)
    assert (same.x, same.u_x) == (1.0, 3e-4)
    assert other.x == 0.5
    assert other.u_x > same.u_x
    assert "no scale strip" in same.basis


def test_two_scanners_or_no_resolution_cost_half_a_per_cent() -> None:
    assert scale_ratio(None, None, 300.0, 300.0, same_scanner=False).u_x == 5e-3
    assert scale_ratio(None, None, None, None).u_x == 5e-3


def test_a_paper_strip_breathes() -> None:
    dry = scale_ratio(_strip(84.67, 84.67), _strip(84.67, 84.67), None, None)
    damp = scale_ratio(_strip(84.67, 84.67), _strip(84.67, 84.67), None, None, u_strip_breath=2e-4)
    assert damp.u_x > 5 * dry.u_x


def test_a_strip_at_odds_only_its_short_way_is_doubted_and_the_difference_stays_in_u() -> None:
    ratio = scale_ratio(_strip(84.67, 84.67), _strip(84.67, 85.12), 300.0, 300.0)
    assert ratio.y == 1.0
    assert ratio.u_y == pytest.approx(0.45 / 84.67, rel=0.02)
    assert ratio.u_x < 1e-4
    assert len(ratio.warnings) == 1 and "not believed there" in ratio.warnings[0]
    long_way = scale_ratio(_strip(84.67, 84.67), _strip(84.9, 84.67), 300.0, 300.0)
    assert long_way.x > 1.002 and "strip was believed" in long_way.warnings[0]
