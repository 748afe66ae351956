"""Drawings larger than a page: tiles, register marks, check bars, clipping. All in millimetres.

A drawing has x to the right and y down. A tile is a window on it, as large as its page allows and
drawn at 1:1; neighbours share a strip of ``OVERLAP_MM``, and two register marks in every strip
stand on both. Nothing here is typeset.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

# Width and height of a page (ISO 216; ANSI/ASME Y14.1 A and B, from memory).
PAPERS = {
    "a4": (210.0, 297.0),
    "a3": (297.0, 420.0),
    "letter": (215.9, 279.4),
    "tabloid": (279.4, 431.8),
}
# What no printer reaches, and room below for the flat bar and words (common practice, no source).
MARGIN_MM = 7.0
FOOT_MM = 15.0
OVERLAP_MM = 12.0
MOST_TILES = 24
BAR_MM = 100.0
MARK_ARM_MM = 5.0
# The upright bar with its ticks and words, and how clear of lines it tries to stand.
_BAR_BOX_MM = (14.0, 106.0)
_CLEAR_MM = 15.0
_STEP_MM = 6.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle [mm], x to the right, y down."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width(self) -> float:
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        return self.y1 - self.y0

    def grown(self, by: float) -> Box:
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def holds(self, x: float, y: float, inset: float = 0.0) -> bool:
        return self.x0 + inset <= x <= self.x1 - inset and self.y0 + inset <= y <= self.y1 - inset

    def gap(self, other: Box) -> float:
        """The distance to another box; 0 where they touch or overlap."""
        across = max(other.x0 - self.x1, self.x0 - other.x1, 0.0)
        down = max(other.y0 - self.y1, self.y0 - other.y1, 0.0)
        return math.hypot(across, down)


@dataclass(frozen=True, slots=True)
class Tile:
    """One page: rows are letters from the top, columns numbers from the left, as in B1."""

    row: int
    column: int
    window: Box

    @property
    def name(self) -> str:
        return f"{chr(ord('A') + self.row)}{self.column + 1}"


@dataclass(frozen=True, slots=True)
class Mark:
    """A register mark, printed on both of its tiles."""

    number: int
    x: float
    y: float
    tiles: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Tiling:
    """A drawing laid over pages of ``page_mm`` (width, height)."""

    paper: str
    page_mm: tuple[float, float]
    rows: int
    columns: int
    tiles: tuple[Tile, ...]
    marks: tuple[Mark, ...]

    @property
    def landscape(self) -> bool:
        return self.page_mm[0] > self.page_mm[1]

    def joins(self, tile: Tile) -> list[tuple[str, str, list[int]]]:
        """Which tile lies on which side of this one, and the marks they share."""
        found = []
        for side, across, down in (
            ("left", -1, 0), ("right", 1, 0), ("top", 0, -1), ("bottom", 0, 1),
        ):  # fmt: skip
            for other in self.tiles:
                if (other.column - tile.column, other.row - tile.row) == (across, down):
                    both = {tile.name, other.name}
                    shared = [mark.number for mark in self.marks if set(mark.tiles) == both]
                    found.append((side, other.name, shared))
        return found


def lay_tiles(drawing: Box, paper: str, keep_clear: Iterable[Box] = ()) -> Tiling:
    """Tiles over a drawing, upright or lengthwise, whichever takes fewer (upright when the same).

    ``keep_clear`` is what no register mark should stand on.

    Raises:
        ValueError: the paper is not known, or it would take more than ``MOST_TILES`` pages.
    """
    if paper not in PAPERS:
        raise ValueError(
            f"{paper[:40]!r} is no paper known here; take {', '.join(list(PAPERS)[:-1])} or "
            f"{list(PAPERS)[-1]}"
        )
    wide, tall = PAPERS[paper]
    page = min(((wide, tall), (tall, wide)), key=lambda one: math.prod(_counts(drawing, one)))
    columns, rows = _counts(drawing, page)
    if columns * rows > MOST_TILES:
        raise ValueError(
            f"a drawing of {drawing.width:.0f} x {drawing.height:.0f} mm would take "
            f"{columns * rows} pages of {paper}, at most {MOST_TILES} are printed; look for a "
            "wrong number among the edges and holes, or take larger paper"
        )
    window = _window(page)
    # Centred across, so that the fold lies in a strip or in the middle of a tile; several rows
    # begin at the head, so that the first holds as many holes as it can.
    across = columns * window[0] - (columns - 1) * OVERLAP_MM
    left = (drawing.x0 + drawing.x1 - across) / 2
    top = drawing.y0 if rows > 1 else (drawing.y0 + drawing.y1 - window[1]) / 2
    tiles = []
    for row in range(rows):
        for column in range(columns):
            x0 = left + column * (window[0] - OVERLAP_MM)
            y0 = top + row * (window[1] - OVERLAP_MM)
            tiles.append(Tile(row, column, Box(x0, y0, x0 + window[0], y0 + window[1])))
    return Tiling(paper, page, rows, columns, tuple(tiles), _marks(tiles, tuple(keep_clear)))


def _window(page: tuple[float, float]) -> tuple[float, float]:
    return page[0] - 2 * MARGIN_MM, page[1] - 2 * MARGIN_MM - FOOT_MM


def _counts(drawing: Box, page: tuple[float, float]) -> tuple[int, int]:
    """Columns and rows of tiles."""
    across, down = (
        max(1, math.ceil((length - OVERLAP_MM) / (size - OVERLAP_MM) - 1e-9))
        for length, size in zip((drawing.width, drawing.height), _window(page), strict=True)
    )
    return across, down


def _marks(tiles: list[Tile], keep_clear: tuple[Box, ...]) -> tuple[Mark, ...]:
    """Two marks in the middle of every shared strip, one towards either end of it."""
    marks: list[Mark] = []
    for one in tiles:
        for other in tiles:
            beside = (other.row - one.row, other.column - one.column)
            if beside not in ((0, 1), (1, 0)):
                continue
            a, b = one.window, other.window
            shared = Box(max(a.x0, b.x0), max(a.y0, b.y0), min(a.x1, b.x1), min(a.y1, b.y1))
            for places in _places(shared, upright=beside == (0, 1)):
                x, y = max(places, key=lambda at: min(_clear(at, keep_clear), _CLEAR_MM))
                marks.append(Mark(len(marks) + 1, x, y, (one.name, other.name)))
    return tuple(marks)


def _places(shared: Box, upright: bool) -> tuple[list[tuple[float, float]], ...]:
    """Where either mark of a strip may stand: off its ends, where four tiles meet, the outermost
    places first."""
    low, high = (shared.y0, shared.y1) if upright else (shared.x0, shared.x1)
    low, high = low + OVERLAP_MM + MARK_ARM_MM, high - OVERLAP_MM - MARK_ARM_MM
    reach = (high - low) / 3
    steps = [min(step * 2.0, reach) for step in range(int(reach / 2.0) + 1)]
    x, y = (shared.x0 + shared.x1) / 2, (shared.y0 + shared.y1) / 2
    return tuple(
        [(x, along) if upright else (along, y) for along in ends]
        for ends in ([low + step for step in steps], [high - step for step in steps])
    )


def _clear(at: tuple[float, float], others: Iterable[Box]) -> float:
    box = Box(*at, *at).grown(MARK_ARM_MM)
    return min((box.gap(other) for other in others), default=math.inf)


def bar_place(window: Box, keep_clear: Iterable[Box]) -> tuple[float, float]:
    """Upper end of the upright check bar in a tile, as clear of everything drawn as it can be."""
    wide, tall = _BAR_BOX_MM
    others = [box for box in keep_clear if box.gap(window) == 0]
    best, clearest = (window.x0 + 6.0, window.y0 + 3.0), -1.0
    for down in range(int((window.height - tall) / _STEP_MM) + 1):
        for across in range(int((window.width - wide) / _STEP_MM) + 1):
            x, y = window.x0 + across * _STEP_MM, window.y0 + down * _STEP_MM
            box = Box(x, y, x + wide, y + tall)
            clear = min((box.gap(other) for other in others), default=_CLEAR_MM)
            if min(clear, _CLEAR_MM) > clearest:
                best, clearest = (x + 6.0, y + 3.0), min(clear, _CLEAR_MM)
    return best


def clip(
    x0: float, y0: float, x1: float, y1: float, box: Box
) -> tuple[float, float, float, float] | None:
    """The part of a straight line inside a box (Liang and Barsky), or None.

    >>> clip(-5, 1, 5, 1, Box(0, 0, 2, 2))
    (0.0, 1.0, 2.0, 1.0)
    """
    dx, dy = x1 - x0, y1 - y0
    enter, leave = 0.0, 1.0
    for step, room in (
        (-dx, x0 - box.x0), (dx, box.x1 - x0), (-dy, y0 - box.y0), (dy, box.y1 - y0),
    ):  # fmt: skip
        if step == 0:
            if room < 0:
                return None
        elif step < 0:
            enter = max(enter, room / step)
        else:
            leave = min(leave, room / step)
    if enter >= leave:
        return None
    return x0 + enter * dx, y0 + enter * dy, x0 + leave * dx, y0 + leave * dy
