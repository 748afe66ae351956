"""Which scale is used: strip, board, calibrated scanner, in the order of how sure they are."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quirewell.science.imaging.charuco import Board
from quirewell.science.imaging.scale import scale_from_strip
from quirewell.science.imaging.strip import find_strip
from quirewell.stages.measuring_asked import BadParameter, read_params
from quirewell.stages.measuring_scale import choose_scale
from scanner_scans import board_picture, scan_of, strip_picture

DPI = 150.0
UM = 25400 / DPI
PLANTED = (0.0021, -0.0034)
CALIBRATED = {
    "scanner_um_per_px_x": f"{UM * 1.0021:.6f}", "scanner_um_per_px_y": f"{UM * 0.9966:.6f}",
    "scanner_scale_u_pct": "0.02", "scanner_ratio_u_pct": "0.02", "scanner_u_um": "40",
}  # fmt: skip
MEASURED = {"strip_length_mm": "160", "strip_length_u_mm": "0.02"}


@pytest.fixture(scope="module")
def grey():
    picture, size = strip_picture()
    return scan_of(picture, size, (0.4, 0, 100), DPI, PLANTED)


def chosen(grey, **params):
    return choose_scale(read_params(params), find_strip(grey), (DPI, DPI), grey)


def test_a_calibration_sets_right_what_the_strip_cannot_see(grey):
    """Across the strip an unchecked scanner's two directions are taken to be alike."""
    plain, _ = chosen(grey, **MEASURED)
    better, _ = chosen(grey, **MEASURED, **CALIBRATED)
    assert (plain.source, better.source) == ("strip", "strip")
    assert better.um_per_px_x == pytest.approx(UM * 1.0021, rel=3e-4)
    assert better.um_per_px_y == pytest.approx(UM * 0.9966, rel=4e-4)
    assert abs(better.um_per_px_y / (UM * 0.9966) - 1) < abs(plain.um_per_px_y / (UM * 0.9966) - 1)
    assert better.glass_um < plain.glass_um
    assert "calibration" in better.glass_basis


def test_an_unmeasured_strip_gives_way_to_a_calibrated_scanner(grey):
    scale, _ = chosen(grey, **CALIBRATED)
    assert scale.source == "calibrated scanner"
    assert scale.u_pct == pytest.approx(math.hypot(0.02, 0.01))
    assert scale.glass_um == 40.0


def test_without_a_strip_the_calibrated_scanner_goes_before_the_tag_and_says_they_differ():
    scale, says = choose_scale(read_params(CALIBRATED), None, (DPI * 1.02, DPI * 1.02))
    assert scale.source == "calibrated scanner"
    assert any("resolution tag" in words for words in says)
    part = {key: CALIBRATED[key] for key in ("scanner_um_per_px_x", "scanner_u_um")}
    scale, _ = choose_scale(read_params(part), None, (DPI, DPI))
    assert scale.source == "resolution tag"


def test_a_board_gives_both_directions():
    picture, size = board_picture(Board(9, 7, 10.0))
    grey = scan_of(picture, size, (0.4, 0, 0), DPI, PLANTED)
    scale, says = choose_scale(read_params({"board": "9x7 10 mm"}), None, None, grey)
    assert scale.source == "board"
    assert scale.um_per_px_x / scale.um_per_px_y == pytest.approx(1.0021 / 0.9966, rel=1e-4)
    assert any("as printed" in words for words in says)
    sure, says = choose_scale(
        read_params({"board": "9x7 10 mm", "board_u_pct": "0.005"}), None, None, grey
    )
    assert sure.u_pct < 0.01
    assert says == []


def test_a_board_that_is_not_there_is_said():
    blank = np.full((400, 400), 200, np.uint8)
    scale, says = choose_scale(read_params({"board": "9x7 10 mm"}), None, (DPI, DPI), blank)
    assert scale.source == "resolution tag"
    assert any("board was not found" in words for words in says)
    with pytest.raises(BadParameter, match="squares across"):
        read_params({"board": "large"})


def test_a_printer_that_draws_larger_across_does_not_move_the_scale_down_the_picture():
    """A printer's 0.3 % over the strip's 9 mm is not taken for the scanner's."""
    picture, (length, height) = strip_picture()
    grey = scan_of(picture, (length, height * 1.003), (0.3, 0, 0), DPI)
    scale = scale_from_strip(find_strip(grey), 160.0, 0.02, 20.0)
    assert scale.um_per_px_y == pytest.approx(UM, rel=3e-4)
