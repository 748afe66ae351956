"""Where something lies on a page: points, lines or polygons in millimetres, as text.

"polygon 10,12 40,12 40,30; 60,12 70,12 70,20": a kind, then points "x,y", several shapes of that
kind parted by ";". The origin is the upper left corner of the page as it lies flat, head up; x to
the right, y down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from quirewell.record.shapes import MOST_POINTS, MOST_SHAPES, Point, area_px

RegionKind = Literal["point", "line", "polygon"]
FEWEST: dict[RegionKind, int] = {"point": 1, "line": 2, "polygon": 3}
FARTHEST_MM = 2000.0


@dataclass(frozen=True, slots=True)
class Region:
    """Shapes of one kind on one page, points in millimetres."""

    kind: RegionKind
    shapes: tuple[tuple[Point, ...], ...]

    @property
    def length_mm(self) -> float:
        """Length of all lines together [mm]; 0 for points and polygons.

        >>> read_region("line 0,0 3,4; 10,0 10,2").length_mm
        7.0
        """
        if self.kind != "line":
            return 0.0
        return sum(math.dist(a, b) for shape in self.shapes for a, b in pairwise(shape))

    @property
    def area_mm2(self) -> float:
        """Area of all polygons together [mm2]; 0 for points and lines.

        >>> read_region("polygon 0,0 4,0 4,3 0,3").area_mm2
        12.0
        """
        return sum(area_px(shape) for shape in self.shapes) if self.kind == "polygon" else 0.0


def read_region(text: str) -> Region | None:
    """The region of a text; None for an empty one.

    Raises:
        ValueError: a sentence, when the text is no region.

    >>> read_region("point 3,4.5")
    Region(kind='point', shapes=(((3.0, 4.5),),))
    """
    if not text.strip():
        return None
    kind, _, rest = text.strip().partition(" ")
    if kind not in FEWEST:
        raise ValueError(f"a region is a point, a line or a polygon, got {kind[:40]!r}")
    named = kind
    shapes = tuple(
        tuple(_point(part) for part in shape.split()) for shape in rest.split(";") if shape.strip()
    )
    if not shapes:
        raise ValueError(f"a {kind} needs points, as in {kind} 10,12")
    if len(shapes) > MOST_SHAPES or any(len(shape) > MOST_POINTS for shape in shapes):
        raise ValueError(
            f"a region holds at most {MOST_SHAPES} shapes of {MOST_POINTS} points each, got "
            f"{len(shapes)} with up to {max(map(len, shapes))} points"
        )
    for shape in shapes:
        if len(shape) < FEWEST[named] or (named == "point" and len(shape) > 1):
            count = "one point" if named == "point" else f"{FEWEST[named]} points or more"
            raise ValueError(f"the {kind} has {count}, got {len(shape)}")
        if named == "polygon" and area_px(shape) < 0.01:
            raise ValueError(
                "the polygon must span an area; its points lie in one line, or it crosses itself"
            )
    return Region(named, shapes)


def write_region(region: Region) -> str:
    """A region as text, to a hundredth of a millimetre.

    >>> write_region(Region("line", (((0, 1.004), (2.5, 3)),)))
    'line 0,1 2.5,3'
    """
    shapes = "; ".join(
        " ".join(f"{_hundredth(x)},{_hundredth(y)}" for x, y in shape) for shape in region.shapes
    )
    return f"{region.kind} {shapes}"


def _point(text: str) -> Point:
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise ValueError(
            "a point is two millimetres with a comma between them, as in 12.5,84; got "
            f"{text[:40]!r}"
        ) from None
    if not (math.isfinite(x) and math.isfinite(y)) or max(abs(x), abs(y)) > FARTHEST_MM:
        raise ValueError(f"a point lies on the page, within 2000 mm, got {text[:40]!r}")
    return x, y


def _hundredth(value: float) -> str:
    return f"{round(value + 0.0, 2):.2f}".rstrip("0").rstrip(".")
