"""A chequered board with numbered squares (ChArUco): scale in both directions at once.

The board is 7 by 10 squares of 20 mm, or any other that is stated. Corners of the chequer are
found by their neighbours' numbers on a reduced picture and then to a fraction of a pixel in
the full one. On glass or film it is as true as its maker says; on paper only as its printer.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Grey = NDArray[np.uint8 | np.uint16]

# Side of a number's square as a share of its field.
MARK_SHARE = 0.7
# Corners cannot be trusted better than this, however small their residual.
FLOOR_PX = 0.02
_SEARCH_PX = 2400
_LEAST_CORNERS = 12
_SPEC = re.compile(
    r"\s*(\d{1,2})\s*[x\u00d7*]\s*(\d{1,2})\s*[ :@,]\s*(\d{1,3}(?:\.\d+)?)\s*(?:mm)?\s*"
)


@dataclass(frozen=True, slots=True)
class Board:
    """Squares across and down, and the side of one [mm]."""

    across: int = 7
    down: int = 10
    square_mm: float = 20.0

    def __post_init__(self) -> None:
        if not (4 <= self.across <= 40 and 4 <= self.down <= 40):
            raise ValueError(
                f"a board has 4 to 40 squares each way, got {self.across} x {self.down}"
            )
        if not 2.0 <= self.square_mm <= 60.0:
            raise ValueError(f"a square is 2 to 60 mm wide, got {self.square_mm:g} mm")

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the board [mm]."""
        return self.across * self.square_mm, self.down * self.square_mm


@dataclass(frozen=True, slots=True)
class BoardFound:
    """The board in a picture.

    ``um_per_px_x``, ``um_per_px_y`` [um/px] stand for the stated square; ``covariance`` (2, 2)
    is that of their relative errors [-] from the corners alone. ``ids``, ``points_mm`` and
    ``points_px`` are the corners seen; a pixel's middle is at +0.5. ``skew_deg``: how far the
    picture's axes are from a right angle.
    """

    um_per_px_x: float
    um_per_px_y: float
    covariance: Array
    turn_deg: float
    skew_deg: float
    residual_px: float
    span_mm: tuple[float, float]
    ids: NDArray[np.int64]
    points_mm: Array
    points_px: Array


def read_board(text: str) -> Board:
    """A board as typed, "7x10 20 mm": squares across, squares down, side of one.

    Raises
    ------
    ValueError
        in a sentence
    """
    found = _SPEC.fullmatch(text)
    if found is None:
        raise ValueError(
            f"a board is given as squares across x down and the side of one, as in 7x10 20 mm; "
            f"got {text!r}"
        )
    return Board(int(found[1]), int(found[2]), float(found[3]))


def _opened(board: Board) -> cv2.aruco.CharucoBoard:
    marks = board.across * board.down // 2
    names = {50: cv2.aruco.DICT_5X5_50, 100: cv2.aruco.DICT_5X5_100, 250: cv2.aruco.DICT_5X5_250,
             1000: cv2.aruco.DICT_5X5_1000}  # fmt: skip
    book = cv2.aruco.getPredefinedDictionary(names[min(n for n in names if n >= marks)])
    size = (board.across, board.down)
    side = board.square_mm
    return cv2.aruco.CharucoBoard(size, side, MARK_SHARE * side, book)


def board_rectangles(board: Board) -> tuple[tuple[float, float, float, float, int], ...]:
    """The board as filled rectangles (x, y, width, height [mm], grey), later ones on top."""
    side = board.square_mm
    opened = _opened(board)
    ids = list(np.ravel(opened.getIds()))
    corners = opened.getObjPoints()
    parts: list[tuple[float, float, float, float, int]] = [(0.0, 0.0, *board.size_mm, 255)]
    white = {
        (int(place[0][0] // side), int(place[0][1] // side)): int(id_)
        for id_, place in zip(ids, corners, strict=True)
    }
    for row in range(board.down):
        for column in range(board.across):
            if (column, row) not in white:
                parts.append((column * side, row * side, side, side, 0))
    cells = 7
    book = opened.getDictionary()
    mark, edge = MARK_SHARE * side, (1 - MARK_SHARE) / 2 * side
    for (column, row), id_ in white.items():
        x, y = column * side + edge, row * side + edge
        parts.append((x, y, mark, mark, 0))
        drawn = cv2.aruco.generateImageMarker(book, id_, cells)
        for j, i in np.argwhere(drawn > 0):
            cell = mark / cells
            parts.append((x + cell * float(i), y + cell * float(j), cell, cell, 255))
    return tuple(parts)


def find_board(grey: Grey, board: Board) -> BoardFound | None:
    """Look for the board in a grey picture; None when fewer than 12 of its corners are seen.

    Parameters
    ----------
    grey
        grey picture (H, W), 8 or 16 bit
    """
    eight = np.asarray(grey >> 8 if grey.dtype == np.uint16 else grey, dtype=np.uint8)
    factor = max(1.0, max(grey.shape) / _SEARCH_PX)
    small = eight
    if factor > 1.0:
        size = (round(grey.shape[1] / factor), round(grey.shape[0] / factor))
        small = np.asarray(cv2.resize(eight, size, interpolation=cv2.INTER_AREA), np.uint8)
    detector = cv2.aruco.CharucoDetector(_opened(board))
    found, ids, _, _ = detector.detectBoard(small)
    if found is None or ids is None or len(ids) < _LEAST_CORNERS:
        return None
    share = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    rough = (found.reshape(-1, 2).astype(np.float64) + 0.5) * share - 0.5
    numbers = np.asarray(np.ravel(ids), dtype=np.int64)
    place = np.asarray(_opened(board).getChessboardCorners(), np.float64)[numbers, :2]
    fine = _refined(np.ascontiguousarray(eight), rough, place) + 0.5
    return _fitted(numbers, place, fine)


def _refined(grey: NDArray[np.uint8], corners: Array, points_mm: Array) -> Array:
    """Corners where the four fields meet, in the full picture."""
    spread = np.ptp(corners, axis=0).max() / max(float(np.ptp(points_mm, axis=0).max()), 1e-9)
    gap = float(np.min([d for d in np.ravel(np.diff(np.unique(points_mm[:, 0]))) if d > 0]))
    reach = int(np.clip(0.5 * (1 - MARK_SHARE) * spread * gap * 0.8, 3, 25))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    fine = cv2.cornerSubPix(
        grey, corners.astype(np.float32).reshape(-1, 1, 2), (reach, reach), (-1, -1), stop
    )
    return np.asarray(fine.reshape(-1, 2), np.float64)


def _fitted(ids: NDArray[np.int64], points_mm: Array, points_px: Array) -> BoardFound | None:
    """Scale along both axes of the picture from one affine fit; corners far off are dropped."""
    keep = np.ones(len(ids), dtype=bool)
    for _ in range(4):
        design = np.column_stack([points_mm[keep], np.ones(int(keep.sum()))])
        answer, *_ = np.linalg.lstsq(design, points_px[keep])
        every = np.column_stack([points_mm, np.ones(len(ids))]) @ answer
        miss = np.hypot(*(points_px - every).T)
        limit = max(4.0 * 1.4826 * float(np.median(miss[keep])), 0.15)
        if np.array_equal(keep, miss <= limit):
            break
        keep = miss <= limit
        if keep.sum() < _LEAST_CORNERS:
            return None
    residual = (points_px - every)[keep]
    dof = residual.size - 6
    sigma = max(math.sqrt(float(np.sum(residual**2)) / dof), FLOOR_PX)
    inverse = np.linalg.inv(design.T @ design)[:2, :2]
    across, down = answer[:2].T
    lengths = np.hypot(*across), np.hypot(*down)
    u = [
        sigma * math.sqrt(float(row @ inverse @ row)) / length**2
        for row, length in zip((across, down), lengths, strict=True)
    ]
    turn = math.degrees(math.atan2(-across[1], across[0]))
    skew = math.degrees(math.asin(float(across @ down) / (lengths[0] * lengths[1])))
    span = np.ptp(points_mm[keep], axis=0)
    return BoardFound(
        1000.0 / float(lengths[0]), 1000.0 / float(lengths[1]), np.diag(np.square(u)),
        turn, skew, math.sqrt(float(np.mean(residual**2))),
        (float(span[0]), float(span[1])), ids[keep], points_mm[keep], points_px[keep],
    )  # fmt: skip
