"""The light-box sheet: the holes all sheets share, fold and edges at 1:1, to lay sheets on.

Laid with the inner side up (the usual way) everything is drawn the other way round than on the
outer side, in whose frame holes are recorded.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from quirewell.report.tiled import (
    Drawing,
    Line,
    Notice,
    Part,
    Ring,
    Words,
    cross,
    the_sheet,
    tiled_pdf,
)
from quirewell.report.tiling import Box
from quirewell.science.booklet.align import Alignment, align
from quirewell.science.booklet.holes import Edges, Sheet
from quirewell.stages.naming import sheet_words

Point = tuple[float, float]
# A hole's cross [mm]: arms from the sight ring outwards, a hairline cross within it.
_ARM_MM, _RING_MM = 5.5, 1.5
# A slack that is drawn as a ring [mm]; a smaller one would hide under the lines.
_SLACK_SEEN_MM = 0.1
# Targets of reading edges [mm]: their length, and how far lines run past a corner.
_TARGET_MM, _PAST_MM = 30.0, 2.5
# A sheet that stands back less is not drawn by itself: no eye lays it so.
_SEEN_MM = 0.3
# How far beyond an edge a hole may be measured before it is called a mistake.
_OUTSIDE_MM = 0.5
# How far lines reach where no edge says [mm].
_REACH_MM = 40.0


@dataclass(frozen=True, slots=True)
class PatternHole:
    """One hole of the common pattern [mm], in the reference sheet's frame. ``slack_mm``: the
    smallest slack of any sheet's hole round its wire; None where no size is known."""

    number: int
    x_mm: float
    y_mm: float
    slack_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Outline:
    """A sheet's edges as they come to lie: each from its upper or left end to the other [mm];
    None where that edge was not measured."""

    name: str
    left: tuple[Point, Point] | None = None
    right: tuple[Point, Point] | None = None
    head: tuple[Point, Point] | None = None
    tail: tuple[Point, Point] | None = None


def pattern_and_outlines(
    sheets: Sequence[Sheet], wire_mm: float = 0.5
) -> tuple[tuple[PatternHole, ...], tuple[Outline, ...]]:
    """The common pattern of sheets, the outermost first, and the edges to draw: those of the
    reference sheet, or of the outermost that has any, then those of the innermost.

    Raises:
        ValueError: no sheet has a hole, or the wire is none.
    """
    held = list(sheets)
    laid = align(held, wire_mm) if len(held) > 1 else None
    if laid is None:
        found = [
            (one.number, one.x_mm, one.y_mm)
            for sheet in held
            for one in sheet.holes
            if one.state != "missing" and one.x_mm is not None and one.y_mm is not None
        ]
        if not found:
            raise ValueError("no sheet has a hole that can be used; measure or mark some first")
    else:
        found = [
            (number, float(x), float(y))
            for number, (x, y) in zip(laid.numbers, laid.pattern, strict=True)
        ]
    pattern = tuple(
        PatternHole(number, x, y, _slack(held, number, wire_mm)) for number, x, y in found
    )
    edged = [sheet for sheet in held if sheet.edges is not None]
    first = next((one for one in edged if laid and one.name == laid.reference), None)
    first = first or next(iter(edged), None)
    if first is None:
        return pattern, ()
    shown = [first] if edged[-1] is first else [first, edged[-1]]
    return pattern, tuple(_outline(sheet, laid, pattern) for sheet in shown)


def _slack(sheets: Sequence[Sheet], number: int, wire_mm: float) -> float | None:
    sizes = [
        one.size_mm
        for sheet in sheets
        for one in sheet.holes
        if one.number == number and one.size_mm and one.state not in ("missing", "torn")
    ]
    return max(0.0, (min(sizes) - wire_mm) / 2) if sizes else None


def _outline(sheet: Sheet, laid: Alignment | None, pattern: Sequence[PatternHole]) -> Outline:
    edges = sheet.edges or Edges()
    ys = [hole.y_mm for hole in pattern]
    left = -_REACH_MM if edges.left_mm is None else edges.left_mm
    right = _REACH_MM if edges.right_mm is None else edges.right_mm
    head = min(ys) - _REACH_MM if edges.head_mm is None else edges.head_mm
    tail = max(ys) + _REACH_MM if edges.tail_mm is None else edges.tail_mm

    def laid_line(known: float | None, a: Point, b: Point) -> tuple[Point, Point] | None:
        if known is None:
            return None
        points = np.array([a, b])
        placed = (
            next((one for one in laid.sheets if one.name == sheet.name), None) if laid else None
        )
        if laid is not None and placed is not None:
            points = laid.place(placed, points)
        (x0, y0), (x1, y1) = points.tolist()
        return (x0, y0), (x1, y1)

    return Outline(
        sheet.name,
        laid_line(edges.left_mm, (left, head), (left, tail)),
        laid_line(edges.right_mm, (right, head), (right, tail)),
        laid_line(edges.head_mm, (left, head), (right, head)),
        laid_line(edges.tail_mm, (left, tail), (right, tail)),
    )


def light_box_sheet(
    pattern: Sequence[PatternHole],
    outlines: Sequence[Outline],
    title: str,
    paper: str = "a4",
    inner_up: bool = True,
) -> bytes:
    """The sheet as PDF: a page that says how to use it, then one to every tile, at 1:1.

    Raises:
        ValueError: no holes, a hole outside the sheet, a paper not known, too many pages.
        ReportError: the typesetter refused.
    """
    drawing = light_box_drawing(pattern, outlines, inner_up)
    return tiled_pdf(drawing, _notice(pattern, outlines, title, inner_up), paper)


def light_box_drawing(
    pattern: Sequence[PatternHole], outlines: Sequence[Outline], inner_up: bool = True
) -> Drawing:
    """What the sheet shows, as it lies on the light box.

    Raises:
        ValueError: no holes, or a hole outside the sheet's edges.
    """
    if not pattern:
        raise ValueError("there is no hole to draw; measure or mark some first")
    if outlines:
        _check_inside(pattern, outlines[0])
    side = -1.0 if inner_up else 1.0
    lines, words = list(_holes_and_fold(pattern, outlines, side)), []
    rings: list[Ring] = []
    for hole in pattern:
        x, ring = side * hole.x_mm, _ring(hole)
        rings.append(Ring("sight", x, hole.y_mm, ring))
        if hole.slack_mm is not None and hole.slack_mm >= _SLACK_SEEN_MM:
            rings.append(Ring("slack", x, hole.y_mm, hole.slack_mm))
        words.append(Words(x + ring + 0.6, hole.y_mm - ring - 1.4, str(hole.number)))
    for outline in outlines[:1]:
        lines += _edge_lines(outline, side)
    for outline in outlines[1:2]:
        lines += _inner_lines(outline, outlines[0], side)
        words += _inner_words(outline, outlines[0], side)
    words += _orientation(pattern, outlines, side)
    boxes = [line.box() for line in lines if line.kind != "fold"]
    box = Box(
        min(one.x0 for one in boxes), min(one.y0 for one in boxes),
        max(one.x1 for one in boxes), max(one.y1 for one in boxes),
    )  # fmt: skip
    if not outlines:
        box = box.grown(12.0)
    about = [word.box() for word in words]
    return Drawing(
        box, tuple(lines), tuple(rings), tuple(words), _alt(pattern, outlines, inner_up),
        (*(line.box() for line in lines if line.kind != "fold"), *about),
    )  # fmt: skip


def _check_inside(pattern: Sequence[PatternHole], outline: Outline) -> None:
    for hole in pattern:
        for says, edge, value, sign in (
            ("above the head edge", outline.head, hole.y_mm, 1), ("below the tail edge",
            outline.tail, hole.y_mm, -1), ("left of the left reading edge", outline.left,
            hole.x_mm, 1), ("right of the right reading edge", outline.right, hole.x_mm, -1),
        ):  # fmt: skip
            if edge is None:
                continue
            axis = 1 if edge in (outline.head, outline.tail) else 0
            limits = [point[axis] for point in edge]
            off = (min(limits) - value) if sign > 0 else (value - max(limits))
            if off > _OUTSIDE_MM:
                raise ValueError(
                    f"hole {hole.number} lies {off:.1f} mm {says} of {the_sheet(outline.name)}; "
                    "x counts from the fold to the right, y from the head edge down, in mm: look "
                    "at its row and at the edges"
                )


def _ring(hole: PatternHole) -> float:
    return max(_RING_MM, (hole.slack_mm or 0.0) + 0.4)


def _arm(hole: PatternHole, pattern: Sequence[PatternHole]) -> float:
    """Arms of neighbours do not meet, and reach past the ring."""
    apart = min(
        (
            math.hypot(hole.x_mm - one.x_mm, hole.y_mm - one.y_mm)
            for one in pattern
            if one is not hole
        ),
        default=math.inf,
    )
    return max(_ring(hole) + 0.5, min(_ARM_MM, 0.45 * apart))


def _holes_and_fold(
    pattern: Sequence[PatternHole], outlines: Sequence[Outline], side: float
) -> Iterator[Line]:
    ys = [hole.y_mm for hole in pattern]
    top, bottom = min(ys) - _REACH_MM, max(ys) + _REACH_MM
    if outlines and outlines[0].head:
        top = min(point[1] for point in outlines[0].head) - 2 * _PAST_MM
    if outlines and outlines[0].tail:
        bottom = max(point[1] for point in outlines[0].tail) + 2 * _PAST_MM
    at = top
    for hole in sorted(pattern, key=lambda one: one.y_mm):
        arm = _arm(hole, pattern)
        yield from cross("hole", side * hole.x_mm, hole.y_mm, arm, _ring(hole))
        yield from cross("hair", side * hole.x_mm, hole.y_mm, _ring(hole))
        if abs(hole.x_mm) < arm + 1.0:
            if hole.y_mm - arm - 0.5 > at:
                yield Line("fold", 0.0, at, 0.0, hole.y_mm - arm - 0.5)
            at = max(at, hole.y_mm + arm + 0.5)
    if bottom > at:
        yield Line("fold", 0.0, at, 0.0, bottom)


def _edge_lines(outline: Outline, side: float) -> Iterator[Line]:
    """Head and tail lines past the corners; reading edges as targets at head, middle, tail."""
    for line in (outline.head, outline.tail):
        if line is not None:
            yield _part("edge", line, -_PAST_MM, _length(line) + _PAST_MM, side)
    for line in (outline.left, outline.right):
        if line is None:
            continue
        long = _length(line)
        for start in (-_PAST_MM, (long - _TARGET_MM) / 2, long + _PAST_MM - _TARGET_MM):
            yield _part("edge", line, start, start + _TARGET_MM, side)


def _inner_lines(outline: Outline, first: Outline, side: float) -> Iterator[Line]:
    for line, other in ((outline.left, first.left), (outline.right, first.right)):
        if line is not None and abs(_back(line, other)) >= _SEEN_MM:
            long = _length(line)
            for start in (0.0, (long - _TARGET_MM) / 2, long - _TARGET_MM):
                yield _part("inner", line, start, start + _TARGET_MM, side)


def _inner_words(outline: Outline, first: Outline, side: float) -> Iterator[Words]:
    for line, other in ((outline.left, first.left), (outline.right, first.right)):
        if line is None or abs(back := _back(line, other)) < _SEEN_MM:
            continue
        x, y = _middle(line)
        right = side * x > 0
        off = -2.0 if right else 2.0
        stands = "back" if back > 0 else "out"
        says = f"{sheet_words(outline.name)} stands {abs(back):.1f} mm {stands}"
        yield Words(side * x + off, y + _TARGET_MM / 2 + 4.0, says, "right" if right else "left")


def _back(line: tuple[Point, Point], other: tuple[Point, Point] | None) -> float:
    """How much nearer the fold a reading edge lies than the reference's [mm]."""
    return 0.0 if other is None else abs(_middle(other)[0]) - abs(_middle(line)[0])


def _middle(line: tuple[Point, Point]) -> Point:
    (x0, y0), (x1, y1) = line
    return (x0 + x1) / 2, (y0 + y1) / 2


def _length(line: tuple[Point, Point]) -> float:
    return math.dist(*line)


def _part(kind: str, line: tuple[Point, Point], start: float, end: float, side: float) -> Line:
    """A stretch of a line, from its first end on [mm]."""
    (x0, y0), (x1, y1) = line
    a, b = start / _length(line), end / _length(line)
    return Line(
        kind, side * (x0 + a * (x1 - x0)), y0 + a * (y1 - y0),
        side * (x0 + b * (x1 - x0)), y0 + b * (y1 - y0),
    )  # fmt: skip


def _orientation(
    pattern: Sequence[PatternHole], outlines: Sequence[Outline], side: float
) -> Iterator[Words]:
    """Head, fold and halves in words. On the outer side the front half lies to the right."""
    first = outlines[0] if outlines else Outline("")
    top = min(hole.y_mm for hole in pattern)
    head = min(point[1] for point in first.head) if first.head else top - _REACH_MM
    if top - head > 15.0:
        yield Words(1.2, head + 5.0, "fold")
    for half, line in ((-1.0, first.left), (1.0, first.right)):
        says = "front half" if half > 0 else "back half"
        reach = abs(_middle(line)[0]) / 2 if line else _REACH_MM * 0.7
        y = head + 5.0 if line else top - 20.0
        yield Words(side * half * reach, y, says, "middle")
        yield Words(side * half * reach, y + 4.5, "↑ head, away from you", "middle")


def _alt(pattern: Sequence[PatternHole], outlines: Sequence[Outline], inner_up: bool) -> str:
    places = "; ".join(f"hole {one.number} {one.y_mm:.1f} mm from the head" for one in pattern)
    edges = "with edges of " + " and ".join(the_sheet(one.name) for one in outlines)
    return (
        f"Staple holes as crosses on the fold line, {'inner' if inner_up else 'outer'} side up, "
        f"{edges if outlines else 'no edges'}: {places}."
    )


def _notice(
    pattern: Sequence[PatternHole], outlines: Sequence[Outline], title: str, inner_up: bool
) -> Notice:
    up = "inner" if inner_up else "outer"
    if inner_up:
        lead = (
            "Laid with the inner side up: every sheet lies with its outer side down on the light "
            "box, its head away from you, the cover first. Left and right are therefore the other "
            "way round than on its outer side: the front half lies on the left."
        )
        order = "Lay the cover first, its outer side down; then wrap 1, wrap 2 and so on inwards."
    else:
        lead = (
            "Laid with the outer side up: every sheet lies with its inner side down on the light "
            "box, its head away from you, the innermost wrap first. The front half lies on the "
            "right."
        )
        order = "Lay the innermost wrap first, its inner side down; then outwards, the cover last."
    slack = any((hole.slack_mm or 0.0) >= _SLACK_SEEN_MM for hole in pattern)
    drawn = "fold and holes only, since no edges were measured"
    if outlines:
        drawn = f"full lines are the edges of {the_sheet(outlines[0].name)}"
    if outlines[1:]:
        drawn += (
            f", dashed ones the reading edges of {the_sheet(outlines[1].name)} where "
            f"they lie {_SEEN_MM:g} mm or more off"
        )
    return Notice(
        "Light-box sheet",
        title,
        lead,
        (
            "A needle or a staple pushed through holes that do not lie in line tears them. Lay "
            "the sheet again instead.",
            "Cold light only, switched off between sheets: warmth from below dries and curls a "
            "sheet while it lies. Only dry sheets lie on printed paper.",
            "Nothing sticky touches a sheet; tape joins printed pages only.",
        ),
        ("Needles, awls and staple legs prick: keep them pointing down and away from the hand.",),
        (
            Part(
                "Laying the sheets",
                (
                    "Tape the checked pages to the light box, “head” away from you.",
                    order,
                    "Lay the fold on the fold line, then move the sheet until light shows the "
                    "middle of every hole on its cross"
                    + (", inside the small ring (the slack) where one is drawn." if slack else "."),
                    "Look at the edges: " + drawn + ".",
                    "Where a hole is torn or gone, go by the others and by the edges.",
                    "Weigh the sheet down near its edges, then lay the next.",
                ),
            ),
            Part(
                f"The holes, {up} side up",
                columns=("Hole", "from the head", "from the fold", "slack"),
                rows=tuple(
                    (
                        str(one.number),
                        f"{one.y_mm:.1f} mm",
                        _off_fold(-one.x_mm if inner_up else one.x_mm),
                        "not known" if one.slack_mm is None else f"{one.slack_mm:.2f} mm",
                    )
                    for one in pattern
                ),
            ),
        ),
        f"Laid with the {up} side up, head away from you.",
    )


def _off_fold(x_mm: float) -> str:
    if abs(x_mm) < 0.05:
        return "on it"
    return f"{abs(x_mm):.1f} mm {'right' if x_mm > 0 else 'left'}"
