"""The scan planner counts what the gathering needs."""

from __future__ import annotations

import pytest

from quirewell.record.nouns import Gathering
from quirewell.stages.scan_planner import Assumptions, panels_on_glass, plan_scans


def test_full_set_of_nine_wraps_and_a_cover() -> None:
    full = plan_scans(Gathering(9, height_mm=265, width_mm=195)).sets[2]
    # 10 sheets x 2 sides x 2 halves x 2 moments
    assert full.scans == 80 and full.panels == 2
    assert full.minutes == pytest.approx((80 * (20 + 45) + 16 * 40) / 60)


def test_size_of_one_a4_scan_at_300_dpi() -> None:
    # 2480 x 3508 px x 3 bytes, the usual figure for A4 at 300 dpi
    assert Assumptions().scan_gb == pytest.approx(2480 * 3508 * 3 / 1e9, rel=1e-3)


def test_sixteen_bits_and_twice_the_resolution_take_eight_times_the_room() -> None:
    assert Assumptions(dpi=600, bits=16).scan_gb == pytest.approx(8 * Assumptions().scan_gb)


def test_short_set_takes_cover_outermost_and_innermost() -> None:
    short = plan_scans(Gathering(9)).sets[0]
    assert short.sheets == ("c", "w01", "w09")
    assert plan_scans(Gathering(1, cover=False)).sets[0].sheets == ("w01",)


def test_small_wraps_fit_whole_and_large_ones_do_not() -> None:
    assert panels_on_glass(Gathering(4, height_mm=200, width_mm=140), (210, 297))[0] == 1
    panels, words = panels_on_glass(Gathering(9, height_mm=265, width_mm=195), (210, 297))
    assert panels == 2 and "390 x 265" in words
    assert (
        "cut an edge off"
        in panels_on_glass(Gathering(4, height_mm=400, width_mm=290), (210, 297))[1]
    )
    assert "not known yet" in panels_on_glass(Gathering(4), (210, 297))[1]


@pytest.mark.parametrize(
    "wrong", [{"dpi": 30}, {"bits": 12}, {"scan_s": 0}, {"glass_mm": (21.0, 29.7)}]
)
def test_assumptions_that_cannot_be_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"must|has"):
        Assumptions(**wrong)  # type: ignore[arg-type]
