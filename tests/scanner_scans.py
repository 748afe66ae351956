"""Scans of a strip or a board on a glass whose errors are planted, for calibration tests."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray

from quirewell.science.imaging.charuco import Board, board_rectangles
from quirewell.science.imaging.strip import STRIP_HEIGHT_MM, STRIP_LENGTH_MM, draw_strip

GLASS_MM = (216.0, 297.0)
# Along the glass at both ends, and across it at both sides: (turn [deg], middle x, y [mm]).
FOUR_PLACES = ((0.6, 0.0, -125.0), (90.8, -92.0, 0.0), (180.4, 0.0, 125.0), (270.5, 92.0, 0.0))
_FINE_UM = 50.0
_OVER = 3


def strip_picture(stretch: float = 1.0) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """The strip drawn finely, and its size [mm] when it prints ``stretch`` times as long."""
    return draw_strip(_FINE_UM), (STRIP_LENGTH_MM * stretch, STRIP_HEIGHT_MM * stretch)


def board_picture(board: Board) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """A board drawn finely, and its size [mm]."""
    px_mm = 0.1
    picture = np.full([round(side / px_mm) for side in board.size_mm[::-1]], 255, np.uint8)
    for x, y, width, height, grey in board_rectangles(board):
        rows = slice(round(y / px_mm), round((y + height) / px_mm))
        picture[rows, round(x / px_mm) : round((x + width) / px_mm)] = grey
    return picture, board.size_mm


def scan_of(
    picture: NDArray[np.uint8],
    size_mm: tuple[float, float],
    place: tuple[float, float, float],
    dpi: float,
    scale: tuple[float, float] = (0.0, 0.0),
    seed: int = 1,
    glass_mm: tuple[float, float] = GLASS_MM,
) -> NDArray[np.uint8]:
    """The glass with the picture lying on it; a true length l is seen as l / (1 + scale)."""
    turn, at_x, at_y = math.radians(place[0]), place[1], place[2]
    px = dpi / 25.4 / (1.0 + np.asarray(scale))
    rotate = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    whole = np.round(np.asarray(glass_mm) * dpi / 25.4).astype(int)
    per_px = np.array(size_mm) / np.array(picture.shape[::-1])
    matrix = np.diag(px) @ rotate @ np.diag(per_px)
    middle = whole / 2 + px * (at_x, at_y)
    shift = middle - matrix @ (np.array(picture.shape[::-1]) / 2)
    warp = np.column_stack([matrix, shift]) * _OVER
    warp[:, 2] += warp[:, :2] @ (0.5, 0.5) - 0.5
    big = cv2.warpAffine(
        picture, warp, tuple(int(side) * _OVER for side in whole), flags=cv2.INTER_AREA,
        borderValue=235,
    )  # fmt: skip
    seen = cv2.resize(big, tuple(int(side) for side in whole), interpolation=cv2.INTER_AREA)
    seen = cv2.GaussianBlur(seen.astype(np.float64), (0, 0), 0.6)
    seen = 25 + 0.85 * seen + np.random.default_rng(seed).normal(0, 1.5, seen.shape)
    return np.clip(np.round(seen), 0, 255).astype(np.uint8)


def write_scan(
    path: Path, grey: NDArray[np.uint8], dpi: float, maker: str = "", model: str = ""
) -> Path:
    """A grey picture as a colour TIFF that says its resolution and, when given, its scanner."""
    tags = [
        (code, 2, len(text) + 1, text, True) for code, text in ((271, maker), (272, model)) if text
    ]
    tifffile.imwrite(
        path, np.repeat(grey[:, :, None], 3, axis=2), photometric="rgb", extratags=tags,
        resolution=(dpi, dpi), resolutionunit="INCH", metadata=None,
    )  # fmt: skip
    return path
