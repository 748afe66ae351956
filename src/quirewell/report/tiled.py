"""A drawing at 1:1 over as many pages as it takes, with a first page that says how to use it.

Lines, rings and words in millimetres, x to the right and y down, cut to the tiles of
:mod:`quirewell.report.tiling` and typeset by one template.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from quirewell.report.tiling import (
    BAR_MM,
    FOOT_MM,
    MARGIN_MM,
    MARK_ARM_MM,
    OVERLAP_MM,
    Box,
    Tile,
    Tiling,
    bar_place,
    clip,
    lay_tiles,
)
from quirewell.report.typeset import held, typeset
from quirewell.stages.naming import sheet_words

TEMPLATE = "tiled.typ"
# The page never changes with the day it is printed on.
_AT = datetime(2026, 1, 1, tzinfo=UTC)
_MARK_RADIUS_MM = 3.0
# The tile map on the first page [mm], and how much of a title is shown.
_MAP_MM = (78.0, 62.0)
_TITLE_SIGNS = 96
_FOOT_SIGNS = 44
_MOST_NUMBERED = 12
_MOST_PAIRS = 7
BAR_OFF_MM = 0.2
CHECK = (
    "Print at 100 per cent (“actual size”), on plain paper, one side, without “fit to page”.",
    f"On every page measure both bars with a steel rule. Each is {BAR_MM:g} mm, read to "
    f"{BAR_OFF_MM:g} mm. If one is not, do not use the page: look for “fit to page”, “shrink” or "
    "“scale” in the print window, set 100 per cent, and print again. Do not correct by eye.",
    "Printed paper grows with damp: keep it in the room where you work, off damp sheets, and "
    "measure the bars again another day (common practice, no source).",
)


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line; ``kind`` says to the template how it looks."""

    kind: str
    x0: float
    y0: float
    x1: float
    y1: float

    def box(self) -> Box:
        return Box(
            min(self.x0, self.x1), min(self.y0, self.y1),
            max(self.x0, self.x1), max(self.y0, self.y1),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle."""

    kind: str
    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class Words:
    """A few words whose ``anchor`` (left, middle, right) is at x, their middle height at y."""

    x: float
    y: float
    says: str
    anchor: str = "left"

    def box(self) -> Box:
        """What room they take, about."""
        wide = 1.7 * len(self.says) + 1.0
        start = self.x - {"left": 0.0, "middle": wide / 2, "right": wide}[self.anchor]
        return Box(start, self.y - 1.6, start + wide, self.y + 1.6)


@dataclass(frozen=True, slots=True)
class Drawing:
    """What is drawn, inside ``box``; ``alt`` says it in words; ``keep_clear`` is what no register
    mark stands on, and no check bar either (nor on a fold)."""

    box: Box
    lines: tuple[Line, ...]
    rings: tuple[Ring, ...]
    words: tuple[Words, ...]
    alt: str
    keep_clear: tuple[Box, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the first page: steps in order, or a table under ``columns``."""

    title: str
    items: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Notice:
    """The first page, and in ``foot`` what stands on every page."""

    kicker: str
    title: str
    lead: str
    object_first: tuple[str, ...]
    cautions: tuple[str, ...]
    parts: tuple[Part, ...]
    foot: str


@dataclass(slots=True)
class _Page:
    lines: list[list[Any]] = field(default_factory=list)
    rings: list[list[Any]] = field(default_factory=list)
    words: list[list[Any]] = field(default_factory=list)

    def data(self) -> dict[str, Any]:
        return {"lines": self.lines, "rings": self.rings, "words": self.words}


def tiled_pdf(drawing: Drawing, notice: Notice, paper: str) -> bytes:
    """The pages as PDF: how to use it, then a page to every tile.

    Raises:
        ValueError: the paper is not known, or too many pages of it would be needed.
        ReportError: the typesetter refused.
    """
    tiling = lay_tiles(drawing.box, paper, drawing.keep_clear)
    title = one_line(notice.title) or "Without a title"
    data = {
        "kicker": notice.kicker,
        "title": shortened(title, _TITLE_SIGNS),
        "foot_title": shortened(title, _FOOT_SIGNS),
        "lead": notice.lead,
        "object_first": list(notice.object_first),
        "cautions": list(notice.cautions),
        "check": list(CHECK),
        "joining": _joining(tiling),
        "parts": [
            {
                "title": part.title,
                "items": list(part.items),
                "columns": list(part.columns),
                "rows": [list(row) for row in part.rows],
            }
            for part in notice.parts
        ],
        "foot": notice.foot,
        "page": list(tiling.page_mm),
        "margin": MARGIN_MM,
        "foot_mm": FOOT_MM,
        "bar": BAR_MM,
        "map": _map(drawing, tiling),
        "tiles": [_tile(drawing, tiling, tile) for tile in tiling.tiles],
    }
    return typeset(TEMPLATE, data, {}, _AT)


def the_sheet(sheet: str) -> str:
    """A sheet within a sentence: "the cover", "wrap 3"."""
    return "the cover" if sheet == "c" else sheet_words(sheet).lower()


def one_line(text: str) -> str:
    """Text on one line, with single spaces, and no sign our fonts do not hold."""
    return " ".join(held(text.replace("\r", " ")).split())


def shortened(text: str, signs: int) -> str:
    """At most so many signs, an ellipsis at the end of what was cut."""
    return text if len(text) <= signs else text[: signs - 1].rstrip() + "…"


def _joining(tiling: Tiling) -> list[str]:
    if not tiling.marks:
        return []
    pairs: dict[tuple[str, str], list[str]] = {}
    for mark in tiling.marks:
        pairs.setdefault(mark.tiles, []).append(str(mark.number))
    which = "; ".join(
        f"{a} to {b} at marks {' and '.join(marks)}" for (a, b), marks in pairs.items()
    )
    if len(pairs) > _MOST_PAIRS:
        which = "every page says below which page joins it on which side, and at which marks"
    return [
        f"{len(tiling.tiles)} pages make the sheet. Neighbours share a strip {OVERLAP_MM:g} mm "
        "wide, up to the dotted line, with two register marks in it. On the light box, or against "
        "a window, lay one page over the other until cross lies on cross at both marks; then tape "
        "printed paper to printed paper.",
        f"Which joins which: {which}.",
    ]


def _tile(drawing: Drawing, tiling: Tiling, tile: Tile) -> dict[str, Any]:
    page, window = _Page(), tile.window
    dx, dy = MARGIN_MM - window.x0, MARGIN_MM - window.y0
    marks = [mark for mark in tiling.marks if tile.name in mark.tiles]
    lines = [*drawing.lines, *_frame(tiling, tile)]
    rings, words = list(drawing.rings), list(drawing.words)
    for mark in marks:
        lines += cross("mark", mark.x, mark.y, MARK_ARM_MM)
        rings.append(Ring("mark", mark.x, mark.y, _MARK_RADIUS_MM))
        words.append(Words(mark.x + 0.7, mark.y - 1.3, str(mark.number)))
    for line in lines:
        cut = clip(line.x0, line.y0, line.x1, line.y1, window)
        if cut is not None:
            page.lines.append(_row(line.kind, cut, dx, dy))
    for ring in rings:
        if window.holds(ring.x, ring.y, ring.radius):
            page.rings.append([ring.kind, *_at(ring.x, ring.y, dx, dy), round(ring.radius, 4)])
    for word in words:
        box = word.box()
        if window.holds(box.x0, box.y0) and window.holds(box.x1, box.y1):
            page.words.append([*_at(word.x, word.y, dx, dy), word.says, word.anchor])
    folds = [line.box() for line in drawing.lines if line.kind == "fold"]
    taken = [Box(mark.x, mark.y, mark.x, mark.y).grown(MARK_ARM_MM) for mark in marks]
    x, y = bar_place(window, [*drawing.keep_clear, *folds, *taken])
    joins = tiling.joins(tile)
    said = ", ".join(
        f"{other} {'on the ' if side in ('left', 'right') else 'at the '}{side} "
        f"(marks {' and '.join(map(str, numbers))})"
        for side, other, numbers in joins
    )
    return page.data() | {
        "name": tile.name,
        "of": f"{tiling.tiles.index(tile) + 1} of {len(tiling.tiles)}",
        "joins": f"Joins {said}." if joins else "",
        "bar": list(_at(x, y, dx, dy)),
        "alt": f"Tile {tile.name}. {drawing.alt}",
    }


def _frame(tiling: Tiling, tile: Tile) -> list[Line]:
    """The window's edge, and dotted lines up to which the strips are shared."""
    box = tile.window
    lines = list(outline("frame", box))
    for side, _, _ in tiling.joins(tile):
        if side in ("left", "right"):
            x = box.x0 + OVERLAP_MM if side == "left" else box.x1 - OVERLAP_MM
            lines.append(Line("lap", x, box.y0, x, box.y1))
        else:
            y = box.y0 + OVERLAP_MM if side == "top" else box.y1 - OVERLAP_MM
            lines.append(Line("lap", box.x0, y, box.x1, y))
    return lines


def _map(drawing: Drawing, tiling: Tiling) -> dict[str, Any]:
    """All tiles made small, with what lies on them."""
    page = _Page()
    windows = [tile.window for tile in tiling.tiles]
    x0, y0 = min(box.x0 for box in windows), min(box.y0 for box in windows)
    wide, tall = max(b.x1 for b in windows) - x0, max(b.y1 for b in windows) - y0
    scale = min(_MAP_MM[0] / wide, _MAP_MM[1] / tall)

    def small(x: float, y: float) -> tuple[float, float]:
        return round((x - x0) * scale, 4), round((y - y0) * scale, 4)

    for box in windows:
        for line in outline("map", box):
            page.lines.append(["map", *small(line.x0, line.y0), *small(line.x1, line.y1)])
    for line in drawing.lines:
        if line.kind in ("edge", "fold", "cut"):
            page.lines.append(
                [f"map-{line.kind}", *small(line.x0, line.y0), *small(line.x1, line.y1)]
            )
    for ring in drawing.rings:
        if ring.kind == "sight":
            page.rings.append(["map", *small(ring.x, ring.y), 0.45])
    for tile in tiling.tiles:
        box = tile.window
        page.words.append(
            [*small(box.x0 + 0.25 * box.width, (box.y0 + box.y1) / 2), tile.name, "middle"]
        )
    if len(tiling.marks) <= _MOST_NUMBERED:
        for mark in tiling.marks:
            page.words.append([*small(mark.x, mark.y), str(mark.number), "mark"])
    return page.data() | {
        "wide": round(wide * scale, 4),
        "tall": round(tall * scale, 4),
        "alt": f"Tile map: {len(tiling.tiles)} pages in {tiling.rows} rows of {tiling.columns}",
    }


def outline(kind: str, box: Box) -> Iterable[Line]:
    """The four sides of a rectangle."""
    yield Line(kind, box.x0, box.y0, box.x1, box.y0)
    yield Line(kind, box.x1, box.y0, box.x1, box.y1)
    yield Line(kind, box.x1, box.y1, box.x0, box.y1)
    yield Line(kind, box.x0, box.y1, box.x0, box.y0)


def cross(kind: str, x: float, y: float, arm: float, gap: float = 0.0) -> list[Line]:
    """Two lines that cross at a place; four arms where a gap is left in the middle."""
    if not gap:
        return [Line(kind, x - arm, y, x + arm, y), Line(kind, x, y - arm, x, y + arm)]
    return [
        Line(kind, x - arm, y, x - gap, y), Line(kind, x + gap, y, x + arm, y),
        Line(kind, x, y - arm, x, y - gap), Line(kind, x, y + gap, x, y + arm),
    ]  # fmt: skip


def _at(x: float, y: float, dx: float, dy: float) -> tuple[float, float]:
    return round(x + dx, 4), round(y + dy, 4)


def _row(kind: str, line: tuple[float, float, float, float], dx: float, dy: float) -> list[Any]:
    return [kind, *_at(line[0], line[1], dx, dy), *_at(line[2], line[3], dx, dy)]
