"""Shapes drawn on a picture, as text: points "x,y x,y ..", several shapes parted by ";".

Pixels of the upright picture, x to the right and y down. Runs, corrections and method
parameters all write their geometry this way.
"""

from __future__ import annotations

import math

Point = tuple[float, float]
MOST_SHAPES = 40
MOST_POINTS = 2000
FARTHEST_PX = 200_000.0


def read_points(text: str) -> tuple[Point, ...]:
    """The points of one shape.

    Raises:
        ValueError: a sentence, when the text is no row of points.

    >>> read_points("1,2 30.5,4")
    ((1.0, 2.0), (30.5, 4.0))
    """
    return tuple(_point(part) for part in text.split())


def read_shapes(text: str) -> tuple[tuple[Point, ...], ...]:
    """Every shape of a text; empty ones are left out.

    Raises:
        ValueError: a sentence, when a part is no row of points, or there are too many.
    """
    shapes = tuple(read_points(part) for part in text.split(";") if part.strip())
    if len(shapes) > MOST_SHAPES or any(len(shape) > MOST_POINTS for shape in shapes):
        raise ValueError(
            f"at most {MOST_SHAPES} shapes of {MOST_POINTS} points each can be drawn, got "
            f"{len(shapes)} with up to {max(map(len, shapes))} points"
        )
    return shapes


def read_corners(text: str) -> tuple[Point | None, ...]:
    """Four corners, None for one that may stay as found ("-"); nothing for an empty text.

    Raises:
        ValueError: a sentence, when there are not four.

    >>> read_corners("1,2 - - 5,6")
    ((1.0, 2.0), None, None, (5.0, 6.0))
    """
    found = tuple(None if part == "-" else _point(part) for part in text.split())
    if len(found) not in (0, 4):
        raise ValueError(
            f"a leaf has four corners, clockwise from the upper left, with - for one that may stay "
            f"as found; got {text[:60]!r}"
        )
    return found


def write_corners(corners: tuple[Point | None, ...]) -> str:
    """Four corners as text; empty when all may stay as found.

    >>> write_corners((None, (3.0, 4.0), None, None))
    '- 3,4 - -'
    """
    if not any(corners):
        return ""
    return " ".join("-" if corner is None else write_points((corner,)) for corner in corners)


def write_points(points: tuple[Point, ...]) -> str:
    """Points as text, to a tenth of a pixel.

    >>> write_points(((1.0, 2.04), (30.55, 4.0)))
    '1,2 30.6,4'
    """
    return " ".join(f"{_tenth(x)},{_tenth(y)}" for x, y in points)


def write_shapes(shapes: tuple[tuple[Point, ...], ...]) -> str:
    """Several shapes as text."""
    return "; ".join(write_points(shape) for shape in shapes)


def area_px(points: tuple[Point, ...]) -> float:
    """Area of a closed shape [px2], by the shoelace formula.

    >>> area_px(((0, 0), (4, 0), (4, 3), (0, 3)))
    12.0
    """
    following = (*points[1:], *points[:1])
    twice = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, following, strict=True))
    return abs(twice) / 2


def _point(text: str) -> Point:
    parts = text.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError:
        raise ValueError(
            "a point is two pixel numbers with a comma between them, as in 120,84; got "
            f"{text[:60]!r}"
        ) from None
    if not (math.isfinite(x) and math.isfinite(y)) or max(abs(x), abs(y)) > FARTHEST_PX:
        raise ValueError(f"a point must lie in the picture, got {text[:60]!r}")
    return x, y


def _tenth(value: float) -> str:
    return f"{round(value + 0.0, 1):.1f}".removesuffix(".0")
