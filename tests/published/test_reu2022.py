"""The open star images of the DIC Challenge 2.0 (``reu2022``), from the peers' environment.

A vertical wave of half a pixel whose period falls to the left: the place where a subset first
follows 0.45 px of it tells its resolution. An affine subset of radius 8 should get there by
x = 768 (a figure measured on another implementation of the same method).
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


@pytest.mark.peers
@pytest.mark.parametrize(("radius_px", "order", "by_px"), [(8, 1, 768), (8, 2, 400)])
def test_the_wave_is_followed_as_far_as_it_should_be(
    radius_px: int, order: int, by_px: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    sys.modules.pop("star_field", None)
    import star_field

    row = star_field.reached_px(radius_px, order)
    assert row["x_px"] is not None and row["x_px"] <= by_px
    assert row["missing_pct"] < 2.0
