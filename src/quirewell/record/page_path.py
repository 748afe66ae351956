"""Regions as SVG path data and back: absolute M, L and Z only, in the units of the page.

A line is "M0,0L3,4", a polygon "M0,0L3,0L3,4Z", a point "M5,5Z"; several shapes follow one another.
"""

from __future__ import annotations

import re

from quirewell.record.regions import FARTHEST_MM, FEWEST, Region, read_region, write_region
from quirewell.record.shapes import MOST_POINTS, MOST_SHAPES, Point

_NUMBER = r"[-+]?(?:\d{1,6}(?:\.\d{0,12})?|\.\d{1,12})"
_PAIR = rf"{_NUMBER}(?:\s*,\s*|\s+){_NUMBER}"
_PIECE = re.compile(
    rf"\s*(?:(?P<move>M)\s*(?P<at>{_PAIR})|(?P<line>L)\s*(?P<to>{_PAIR})|(?P<end>Z))"
)
MOST_CHARACTERS = 400_000


def path_of(shapes: tuple[tuple[Point, ...], ...], kind: str) -> str:
    """Path data of shapes of one kind, to a hundredth.

    >>> path_of(((((0, 0), (3, 0), (3, 4.125)),)[0],), "polygon")
    'M0,0L3,0L3,4.12Z'
    """
    close = "" if kind == "line" else "Z"
    return "".join(
        "M" + "L".join(f"{_hundredth(x)},{_hundredth(y)}" for x, y in shape) + close
        for shape in shapes
    )


def read_path(data: str) -> Region:
    """The region of path data.

    Raises:
        ValueError: a sentence, for anything but shapes of one kind made with M, L and Z.

    >>> write_region(read_path("M 0 0 L 3 4 M9,9 L9,8"))
    'line 0,0 3,4; 9,9 9,8'
    """
    if len(data) > MOST_CHARACTERS:
        raise ValueError(f"a path has at most {MOST_CHARACTERS} characters, got {len(data)}")
    shapes: list[list[Point]] = []
    closed: list[bool] = []
    at = 0
    text = data.rstrip()
    while at < len(text):
        found = _PIECE.match(text, at)
        if (
            found is None
            or (not shapes and not found["move"])
            or (closed and closed[-1] and not found["move"])
        ):
            raise ValueError(
                "a path is made of M x,y, L x,y and Z only, as in M10,12L40,12L40,30Z; stopped at "
                f"{text[at : at + 30]!r}"
            )
        if found["move"]:
            shapes.append([_pair(found["at"])])
            closed.append(False)
        elif found["line"]:
            shapes[-1].append(_pair(found["to"]))
        else:
            closed[-1] = True
        if len(shapes) > MOST_SHAPES or len(shapes[-1]) > MOST_POINTS:
            raise ValueError(
                f"a region holds at most {MOST_SHAPES} shapes of {MOST_POINTS} points each"
            )
        at = found.end()
    if not shapes:
        raise ValueError("the path is empty; it begins with M x,y")
    kinds = {_kind(len(shape), end) for shape, end in zip(shapes, closed, strict=True)}
    if len(kinds) > 1:
        raise ValueError("a region is all points, all lines or all polygons, got a mixture")
    return checked(kinds.pop(), shapes)


def checked(kind: str, shapes: list[list[Point]]) -> Region:
    """Shapes as a region that the record can hold, to a hundredth of a millimetre.

    Raises:
        ValueError: a sentence, for what is no region.
    """
    if kind not in FEWEST:
        raise ValueError(f"{kind[:20]!r} is no kind of region")
    for shape in shapes:
        for x, y in shape:
            if max(abs(x), abs(y)) > FARTHEST_MM:
                raise ValueError(f"a point lies within {FARTHEST_MM:g} mm, got {x:g},{y:g}")
    found = read_region(write_region(Region(kind, tuple(map(tuple, shapes)))))
    assert found is not None
    return found


def _kind(points: int, closed: bool) -> str:
    if not closed:
        return "line"
    return "point" if points == 1 else "polygon"


def _pair(text: str) -> Point:
    x, y = re.findall(_NUMBER, text)
    return float(x), float(y)


def _hundredth(value: float) -> str:
    return f"{round(value + 0.0, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
