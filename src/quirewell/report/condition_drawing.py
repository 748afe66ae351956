"""The condition drawing: every side of every sheet to scale, with the damage drawn on it.

A side lies flat, head up: its left page, the fold, its right page. All coordinates of the SVG are
millimetres of the thing; ``per`` of them lie on one millimetre of paper. Damage is numbered as in
the schedule; what was not drawn is listed beside its place. Page and report draw the same.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from quirewell.record.nouns import ItemState
from quirewell.record.page_path import path_of
from quirewell.record.regions import Region
from quirewell.record.shapes import Point
from quirewell.report.hatches import (
    FONTS,
    INK,
    PAPER,
    PENCIL,
    STYLES,
    drawn,
    key_svg,
    patterns,
    sign,
)
from quirewell.stages.damage_schedule import Family, Line, schedule
from quirewell.stages.examine import known_sheets
from quirewell.stages.naming import page_number, sheet_of, sheet_words
from quirewell.stages.page_size import PageSizes

# A page nobody measured or described is drawn so large, broken, and it is said.
UNKNOWN_MM = (170.0, 260.0)
SCALES = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0)
# Room of a side on paper: two to a page, or one where it holds more than CROWDED.
LARGE_MM, WHOLE_MM, CROWDED = (150.0, 108.0), (164.0, 215.0), 25
EDGE, FOOT, RING, SMALL_RING = 3.0, 7.0, 2.1, 1.65  # mm of paper


@dataclass(frozen=True, slots=True)
class Drawn:
    """A line of the schedule on its side: its region in the side's own millimetres."""

    line: Line
    region: Region


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a sheet: ``fold_mm`` how far its fold lies from the left edge; ``by`` on whose
    word its size is, empty where nobody knows, ``refs`` what says it; ``staples`` where their legs
    go through [mm]."""

    place: str
    name: str
    width_mm: float
    height_mm: float
    fold_mm: float
    by: str
    staples: tuple[tuple[float, float], ...]
    damage: tuple[Drawn, ...]
    beside: tuple[Line, ...]
    refs: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[Line, ...]:
        """All its damage, drawn or beside the drawing, in the order of the schedule."""
        mine = (*(one.line for one in self.damage), *self.beside)
        return tuple(sorted(mine, key=lambda line: line.number))

    @property
    def numbers(self) -> tuple[int, ...]:
        """Numbers of all its damage, as in the schedule."""
        return tuple(line.number for line in self.lines)

    @property
    def beyond(self) -> tuple[int, ...]:
        """Numbers of what was drawn farther out than its edge lies."""
        return tuple(
            one.line.number for one in self.damage
            if any(not -1 <= x <= self.width_mm + 1 or not -1 <= y <= self.height_mm + 1
                   for shape in one.region.shapes for x, y in shape)
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawing:
    """All sides of an item; ``elsewhere`` is damage of no side (the whole item, the spine)."""

    sides: tuple[Side, ...]
    elsewhere: tuple[Line, ...]

    @property
    def damaged(self) -> tuple[Side, ...]:
        """Sides with damage drawn on them."""
        return tuple(side for side in self.sides if side.damage)

    @property
    def families(self) -> list[Family]:
        """Families drawn somewhere, in the order of the key."""
        there = {one.line.family for side in self.sides for one in side.damage}
        return [family for family in STYLES if family in there]


def condition_drawing(state: ItemState, moment: str, lines: Iterable[Line] = ()) -> Drawing:
    """The drawing of the damage seen at a moment; ``lines`` are the schedule where it is known."""
    mine = [one for one in (tuple(lines) or schedule(state)) if one.moment == moment]
    sizes = PageSizes(state)
    by_side: dict[str, list[Line]] = {}
    elsewhere = []
    for line in mine:
        side = side_of(line.place, state)
        if side:
            by_side.setdefault(side, []).append(line)
        else:
            elsewhere.append(line)
    sheets = dict.fromkeys((*known_sheets(state), *(sheet_of(side) for side in by_side)))
    places = [f"{sheet}.{face}" for sheet in sheets for face in ("outer", "inner")]
    return Drawing(
        tuple(_side(place, by_side.get(place, []), sizes, state) for place in places),
        tuple(elsewhere),
    )


def side_of(place: str, state: ItemState) -> str:
    """The side of a sheet a place lies on; empty for places on none."""
    gathering = state.gathering
    if place in ("front", "back"):
        return "w01.outer" if gathering is not None and not gathering.cover else "c.outer"
    if place == "centrefold":
        return "" if gathering is None else f"w{gathering.wraps:02d}.inner"
    if not sheet_of(place):
        return ""
    parts = place.split(".")
    return f"{parts[0]}.{parts[1] if len(parts) > 1 else 'outer'}"


def _side(place: str, lines: list[Line], sizes: PageSizes, state: ItemState) -> Side:
    left, right, whole = (sizes.of(f"{place}{end}") for end in (".left", ".right", ""))
    by, refs = "", () if whole is None else whole.refs
    if whole is not None:
        width, height, by = whole.width_mm, whole.height_mm, whole.by
        fold = left.width_mm if left and right and left.width_mm < width else width / 2
    else:
        one = left or right
        page = (one.width_mm, one.height_mm) if one else UNKNOWN_MM
        width, height, fold = 2 * page[0], page[1], page[0]
    damage, beside = [], []
    for line in lines:
        # A region of a whole sheet names no side that it could lie on.
        if line.region is None or line.place in ("centrefold", sheet_of(place)):
            beside.append(line)
            continue
        start = fold if line.place.endswith((".right", "front")) else 0.0
        moved = tuple(tuple((x + start, y) for x, y in one) for one in line.region.shapes)
        damage.append(Drawn(line, Region(line.region.kind, moved)))
    staples = tuple(
        (float(one.upper_mm), float(one.lower_mm))
        for one in state.staples.values()
        if one.upper_mm is not None and one.lower_mm is not None
    )
    name = side_name(place, state)
    damaged = tuple(damage), tuple(beside)
    return Side(place, name, width, height, fold, by, staples, *damaged, refs)


def side_name(place: str, state: ItemState) -> str:
    """A side in words: "Wrap 3, outer side: page 32 left, page 5 right"."""
    sheet, _, face = place.partition(".")
    name = f"{sheet_words(sheet)}, {face} side"
    if sheet == "c":
        ends = ("back", "front") if face == "outer" else ("inside front", "inside back")
        return f"{name}: {ends[0]} left, {ends[1]} right"
    if state.gathering is None:
        return name
    left, right = (page_number(f"{place}.{end}", state.gathering) for end in ("left", "right"))
    return name if left is None else f"{name}: page {left} left, page {right} right"


def scale_of(side: Side) -> float:
    """The roundest scale at which a side goes into its room on paper."""
    room = WHOLE_MM if len(side.damage) > CROWDED else LARGE_MM
    need = max(side.width_mm / (room[0] - 2 * EDGE), side.height_mm / (room[1] - EDGE - FOOT))
    return next((one for one in SCALES if one >= need), math.ceil(need))


def side_svg(side: Side, per: float, numbered: bool = True, prefix: str = "") -> str:
    """One side as SVG, ``per`` mm of the thing on a mm of paper; numbered as in the schedule."""
    x, y, wide, high = _view(side, per, numbered)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="side" viewBox="{x:g} {y:g} {wide:.3f} '
        f'{high:.3f}" width="{wide / per:.3f}mm" height="{high / per:.3f}mm" role="img" '
        f'aria-label="{escape(side_words(side))}" font-family="{escape(FONTS)}">'
        f"{_inside(side, per, numbered, prefix)}</svg>"
    )


def side_words(side: Side) -> str:
    """A side's drawing in words, for those who cannot see it."""
    what = "; ".join(
        f"{one.line.number} {one.line.term}" + (f", {one.line.said}" if one.line.said else "")
        for one in side.damage
    )
    return f"{side.name}. " + (f"Drawn: {what}." if what else "No damage drawn.")


def numbers_words(numbers: tuple[int, ...]) -> str:
    """Numbers with runs drawn together.

    >>> numbers_words((1, 3, 4, 5))
    '1, 3–5'
    """
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{one[0]}" if len(one) == 1 else f"{one[0]}–{one[-1]}" for one in runs)


def drawing_svg(state: ItemState) -> str:
    """The whole drawing as one SVG to print: each side with damage large, in words the rest."""
    parts, y, families = [], 16.0, list[Family]()
    parts.append(_text(10, 9, f"{state.item.title}: condition drawing", 4.6))
    for moment in ("before", "after"):
        made = condition_drawing(state, moment)
        if moment == "after" and not made.damaged:
            continue
        parts.append(_text(10, y, f"{moment.capitalize()} treatment", 3.8))
        families = [family for family in STYLES if family in {*families, *made.families}]
        if not made.damaged:
            parts.append(_text(10, y + 6, "No damage is drawn on any side.", 3.2))
            y += 12
        for side in made.damaged:
            per = scale_of(side)
            vx, vy, wide, high = _view(side, per, True)
            parts.append(_text(10, y + 6, f"{side.name} (1 : {per:g}{_size_said(side)})", 3.2))
            parts.append(
                f'<svg x="10" y="{y + 8:g}" width="{wide / per:.3f}" height="{high / per:.3f}" '
                f'viewBox="{vx:g} {vy:g} {wide:.3f} {high:.3f}" class="side">'
                f"{_inside(side, per, True, f'{side.place}-{moment}-')}</svg>"
            )
            y += high / per + 12
        bare = [side.name.split(":")[0] for side in made.sides if not side.damage]
        for row in textwrap.wrap("Nothing drawn on: " + "; ".join(bare) + ".", 108) if bare else ():
            parts.append(_text(10, y + 4, row, 2.8))
            y += 4.2
        y += 10
    key = key_svg(families, "file-key-").replace(
        "<svg ", f'<svg x="10" y="{y:g}" ', 1).replace("mm\"", "\"")  # fmt: skip
    y += 6.5 * max((len(families) + 1) // 2, 1) + 8
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 182 {y:g}" width="182mm" '
        f'height="{y:g}mm" font-family="{escape(FONTS)}"><title>'
        f"{escape(f'{state.item.title}: condition drawing')}</title>"
        f'<rect width="182" height="{y:g}" fill="#ffffff"/>{"".join(parts)}{key}</svg>'
    )


def _size_said(side: Side) -> str:
    return f"; size {side.by}" if side.by else "; its size is not known"


def _view(side: Side, per: float, numbered: bool) -> tuple[float, float, float, float]:
    edge = EDGE * per if numbered else 0.6 * per
    foot = FOOT * per if numbered else edge
    return -edge, -edge, side.width_mm + 2 * edge, side.height_mm + edge + foot


def _inside(side: Side, per: float, numbered: bool, prefix: str) -> str:
    families = [f for f in STYLES if f in {one.line.family for one in side.damage}]
    broken = "" if side.by else f' stroke-dasharray="{2 * per:g} {1.5 * per:g}"'
    parts = [
        patterns(families, per, prefix),
        f'<rect class="sheet" width="{side.width_mm:.2f}" height="{side.height_mm:.2f}" '
        f'fill="{PAPER}" stroke="{INK}" stroke-width="{0.3 * per:g}"{broken}/>',
        f'<path class="fold" d="M{side.fold_mm:.2f},0V{side.height_mm:.2f}" stroke="{PENCIL}" '
        f'stroke-width="{0.25 * per:g}" stroke-dasharray="{1.6 * per:g} {1 * per:g}" fill="none"/>',
    ]
    parts += [
        f'<path class="staple" d="M{side.fold_mm:.2f},{upper:.2f}V{lower:.2f}" stroke="{INK}" '
        f'stroke-width="{0.9 * per:g}" stroke-linecap="round" fill="none"/>'
        for upper, lower in side.staples
    ]
    for one in side.damage:
        says = f"{one.line.number}: {one.line.term}"
        kind, shapes = one.region.kind, one.region.shapes
        if kind == "point":
            parts += [sign(one.line.family, x, y, per, says) for ((x, y),) in shapes]
        else:
            path = path_of(shapes, kind)
            parts.append(drawn(one.line.family, kind, path, per, prefix, says))
    if numbered:
        parts += _labels(side, per)
        parts.append(_bar(side, per))
    return "".join(parts)


def _bar(side: Side, per: float) -> str:
    long = 50.0 if side.width_mm >= 120 else 20.0
    y = side.height_mm + 4.4 * per
    return (
        f'<path d="M0,{y - 0.9 * per:g}v{1.2 * per:g}h{long:g}v{-1.2 * per:g}" fill="none" '
        f'stroke="{INK}" stroke-width="{0.25 * per:g}"/>'
        + _text(long + 1.5 * per, y + 0.4 * per, f"{long:g} mm", 2.6 * per)
    )


def _labels(side: Side, per: float) -> list[str]:
    """A ring with its number to each damage, beside it and on no other ring while there is room."""
    small = len(side.damage) > CROWDED
    ring, taken, out = (SMALL_RING if small else RING) * per, list[Point](), []
    held = [_on_sheet(_anchor(one.region), side) for one in side.damage]
    # With hundreds on a side there is no room to keep clear of them all.
    kept = [
        _kept_clear(one.region, at, ring) for one, at in zip(side.damage, held, strict=True)
    ] if len(held) <= 8 * CROWDED else []  # fmt: skip
    left, top, wide, high = _view(side, per, True)
    low, far = top + high - ring, left + wide - ring
    for one, at in zip(side.damage, held, strict=True):
        near = [box for box in kept if _far(*at, box) < 18 * ring]
        spot = next(
            (
                (x, y)
                for away in (1.3, 1.9, 2.6, 3.4, 4.4, 5.6, 7.0, 9.0, 12.0, 16.0)
                for turn in range(12)
                for x in (at[0] + away * ring * math.cos(math.pi * (turn - 2) / 6),)
                for y in (at[1] + away * ring * math.sin(math.pi * (turn - 2) / 6),)
                if left + ring <= x <= far and top + ring <= y <= low
                and all(math.dist((x, y), other) > 2.1 * ring for other in taken)
                and all(_far(x, y, box) > 1.15 * ring for box in near)
            ),
            at,
        )  # fmt: skip
        taken.append(spot)
        number = str(one.line.number)
        size = (1.29 if len(number) < 3 else 1.0) * ring
        out.append(
            f'<path d="M{at[0]:.2f},{at[1]:.2f}L{spot[0]:.2f},{spot[1]:.2f}" stroke="{INK}" '
            f'stroke-width="{0.18 * per:g}"/><circle cx="{spot[0]:.2f}" cy="{spot[1]:.2f}" '
            f'r="{ring:g}" fill="#ffffff" stroke="{INK}" stroke-width="{0.22 * per:g}"/>'
            + _text(spot[0], spot[1] + 0.34 * size, number, size, "middle")
        )
    return out


def _kept_clear(region: Region, at: Point, ring: float) -> tuple[float, float, float, float]:
    """The box that no ring may cover: of a small region all of it, of a large one where its number
    hangs."""
    xs = [x for shape in region.shapes for x, _ in shape]
    ys = [y for shape in region.shapes for _, y in shape]
    small = max(max(xs) - min(xs), max(ys) - min(ys)) < 8 * ring
    return (min(xs), min(ys), max(xs), max(ys)) if small else (*at, *at)


def _far(x: float, y: float, box: tuple[float, float, float, float]) -> float:
    """How far a point lies from a box."""
    return math.hypot(max(box[0] - x, 0.0, x - box[2]), max(box[1] - y, 0.0, y - box[3]))


def _on_sheet(at: Point, side: Side) -> Point:
    return min(max(at[0], 0.0), side.width_mm), min(max(at[1], 0.0), side.height_mm)


def _anchor(region: Region) -> Point:
    """The point of a region its number hangs at: the middle one of its first shape."""
    shape = region.shapes[0]
    return shape[len(shape) // 2] if region.kind == "line" and len(shape) > 2 else shape[0]


def _text(x: float, y: float, words: str, size: float, anchor: str = "start") -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" fill="{INK}" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )
