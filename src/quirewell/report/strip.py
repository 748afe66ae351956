"""The printable bench strip and the chequered board: scales for scans, at 1:1 on one page."""

from __future__ import annotations

from datetime import UTC, datetime

from quirewell.report.typeset import typeset
from quirewell.science.imaging.charuco import Board, board_rectangles
from quirewell.science.imaging.strip import (
    NOMINAL_LENGTH_MM,
    STRIP_HEIGHT_MM,
    STRIP_LENGTH_MM,
    strip_rectangles,
)

TEMPLATE = "strip.typ"
BOARD_TEMPLATE = "board.typ"
# What an A4 page leaves for a board.
MOST_MM = (186.0, 225.0)
CHECK_BAR_MM = 150
# The page never changes with the day it is printed on.
_AT = datetime(2026, 1, 1, tzinfo=UTC)


def strip_sheet() -> bytes:
    """The bench strip as PDF, drawn from the geometry that measuring looks for.

    Raises:
        ReportError: the typesetter refused.
    """
    parts = [
        {
            "x": f"{part.x_mm:.4f}",
            "y": f"{part.y_mm:.4f}",
            "width": f"{part.width_mm:.4f}",
            "height": f"{part.height_mm:.4f}",
            "grey": str(part.grey),
        }
        for part in strip_rectangles()
    ]
    data = {
        "parts": parts,
        "length": f"{STRIP_LENGTH_MM:g}",
        "height": f"{STRIP_HEIGHT_MM:g}",
        "nominal": f"{NOMINAL_LENGTH_MM:.1f}",
        "bar": str(CHECK_BAR_MM),
    }
    return typeset(TEMPLATE, data, {}, _AT)


def board_sheet(board: Board) -> bytes:
    """A chequered board as PDF, drawn from the geometry that measuring looks for.

    Raises:
        ValueError: the board does not fit on an A4 page.
        ReportError: the typesetter refused.
    """
    if board.size_mm[0] > MOST_MM[0] or board.size_mm[1] > MOST_MM[1]:
        raise ValueError(
            f"a board of {board.size_mm[0]:g} x {board.size_mm[1]:g} mm does not fit on an A4 "
            f"page; up to {MOST_MM[0]:g} x {MOST_MM[1]:g} mm do, as 7x10 20 mm"
        )
    names = ("x", "y", "width", "height")
    parts = [
        {name: f"{value:.4f}" for name, value in zip(names, part[:4], strict=True)}
        | {"grey": str(part[4])}
        for part in board_rectangles(board)
    ]
    data = {
        "parts": parts,
        "across": str(board.across),
        "down": str(board.down),
        "square": f"{board.square_mm:g}",
        "width": f"{board.size_mm[0]:g}",
        "height": f"{board.size_mm[1]:g}",
    }
    return typeset(BOARD_TEMPLATE, data, {}, _AT)
