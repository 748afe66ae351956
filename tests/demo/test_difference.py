"""CIEDE2000 of planted tones against pairs of Sharma, Wu and Dalal 2005 (source sharma2005)."""

from __future__ import annotations

import pytest

from quirewell.demo.difference import ciede2000


@pytest.mark.parametrize(
    ("one", "other", "published"),
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0010), 7.1792),
        ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
        ((50.0, -0.001, 2.49), (50.0, 0.001, -2.49), 4.7461),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
        ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ],
)
def test_published_pairs(
    one: tuple[float, float, float], other: tuple[float, float, float], published: float
) -> None:
    assert ciede2000(one, other) == pytest.approx(published, abs=5e-5)
