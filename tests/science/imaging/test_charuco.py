"""The chequered board: scale in both directions to parts in a million, or not found at all."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from quirewell.science.imaging.charuco import Board, board_rectangles, find_board, read_board
from scanner_scans import board_picture, scan_of

BOARD = Board(9, 7, 10.0)
GLASS = (120.0, 110.0)


def scanned(turn=0.7, scale=(0.0, 0.0), seed=1, board=BOARD, dpi=300.0):
    picture, size = board_picture(board)
    return scan_of(picture, size, (turn, 0.4, -0.3), dpi, scale, seed, GLASS)


def test_the_scale_is_right_to_parts_in_a_million_and_its_uncertainty_says_so():
    errors, said = [], []
    for seed, turn in enumerate((-2.0, 0.7, 3.1, 90.4, 181.0, 269.2)):
        planted = np.array([1.5e-3, -2.5e-3]) * (-1) ** seed
        found = find_board(scanned(turn, planted, seed), BOARD)
        assert found is not None
        assert len(found.ids) == 48
        seen = np.array([found.um_per_px_x, found.um_per_px_y]) / (25400 / 300)
        errors.append(seen / (1 + planted) - 1)
        said.append(np.sqrt(np.diag(found.covariance)))
        assert found.residual_px < 0.06
    assert np.abs(errors).max() < 40e-6
    assert np.sqrt(np.mean(np.square(errors))) < 2.0 * np.mean(said)
    assert np.mean(said) < 40e-6


def test_turn_and_sixteen_bits_do_not_matter():
    grey = scanned(4.0)
    eight, sixteen = find_board(grey, BOARD), find_board(grey.astype(np.uint16) * 257, BOARD)
    assert eight.turn_deg == pytest.approx(4.0, abs=0.01)
    assert sixteen.um_per_px_x == pytest.approx(eight.um_per_px_x, rel=1e-6)


def test_a_board_partly_covered_still_gives_its_scale():
    grey = scanned()
    grey[:, : grey.shape[1] // 3] = 200
    found = find_board(grey, BOARD)
    assert 12 <= len(found.ids) < 48
    assert found.um_per_px_y == pytest.approx(25400 / 300, rel=1e-4)


def test_no_board_and_another_board_are_not_found():
    noise = np.random.default_rng(5).integers(0, 255, (900, 900), dtype=np.uint8)
    assert find_board(cv2.GaussianBlur(noise, (0, 0), 2), BOARD) is None
    grey = scanned()
    grey[:, grey.shape[1] // 5 :] = 200
    assert find_board(grey, BOARD) is None


def test_a_skewed_picture_shows_its_skew():
    grey = scanned(0.0)
    slanted = cv2.warpAffine(grey, np.array([[1.0, 0.002, 0.0], [0.0, 1.0, 0.0]]), grey.shape[::-1])
    found = find_board(slanted, BOARD)
    assert abs(found.skew_deg) == pytest.approx(np.degrees(0.002), rel=0.05)


def test_boards_are_read_as_typed():
    assert read_board("7x10 20 mm") == Board(7, 10, 20.0)
    assert read_board("9 x 7, 10.05") == Board(9, 7, 10.05)
    for text, says in (
        ("20 mm", "squares across x down"),
        ("3x10 20 mm", "4 to 40 squares"),
        ("7x10 90 mm", "2 to 60 mm"),
    ):
        with pytest.raises(ValueError, match=says):
            read_board(text)


def test_the_rectangles_stay_on_the_board():
    for x, y, width, height, grey in board_rectangles(BOARD):
        assert x >= -1e-9
        assert x + width <= 90 + 1e-9
        assert y >= -1e-9
        assert y + height <= 70 + 1e-9
        assert grey in (0, 255)
