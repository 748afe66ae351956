"""What a measurement drew on a picture, as layers that a page can show and switch.

Every layer has its own kind of line beside its own colour (the style sheet gives both by the
layer's key), a name, and a sentence that says what it means.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from quirewell.record.finding import Run
from quirewell.record.nouns import Correction
from quirewell.record.shapes import Point, read_corners, read_points, read_shapes, write_points

SIDES = ("head", "right", "foot", "left")
MOST_TILES = 400
SAME_TEAR_PX = 25.0


@dataclass(frozen=True, slots=True)
class Mark:
    """One shape of a layer in pixels of the upright picture.

    ``shape``: "polygon", "polyline" or "spot"; ``points``: "x,y x,y ..", one point for a spot.
    ``says`` is written beside it when not empty; ``faint`` is a second style of the layer.
    """

    shape: str
    points: str
    says: str = ""
    faint: bool = False

    @property
    def at(self) -> Point:
        """Where its words stand: at its first point."""
        return read_points(self.points)[0]


@dataclass(frozen=True, slots=True)
class Layer:
    """Shapes that are switched together; ``on`` when they show at first."""

    key: str
    name: str
    says: str
    marks: tuple[Mark, ...]
    on: bool = True


def layers_of(run: Run | None, held: Correction | None) -> tuple[Layer, ...]:
    """Layers of a measured picture, in the order they are listed; empty ones are left out."""
    drawing = run.drawing if run else {}
    made = [_layer(key, name, says, read(drawing), on) for key, name, says, on, read in _LAYERS]
    made = [_sorted(layer, held) if layer.key == "tears" else layer for layer in made]
    made += _by_hand(held)
    return tuple(layer for layer in made if layer.marks)


def _layer(key: str, name: str, says: str, marks: tuple[Mark, ...], on: bool) -> Layer:
    return Layer(key, name, says, marks, on)


def _outline(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    corners = _points(drawing, "outline")
    if len(corners) != 4:
        return ()
    seen = drawing.get("edges", " ".join(SIDES)).split()
    following = (*corners[1:], corners[0])
    return tuple(
        Mark("polyline", write_points((one, other)), faint=side not in seen)
        for side, one, other in zip(SIDES, corners, following, strict=True)
    )


def _rim(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    points = _points(drawing, "paper")
    return (Mark("polygon", write_points(points)),) if len(points) > 2 else ()


def _fold(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    points = _points(drawing, "fold")
    return (Mark("polyline", write_points(points)),) if len(points) == 2 else ()


def _strip(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    points = _points(drawing, "strip")
    return (Mark("polygon", write_points(points)),) if len(points) > 2 else ()


def _losses(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    return tuple(Mark("polygon", _box(text)) for text in drawing.get("losses", "").split())


def _box(text: str) -> str:
    x0, y0, x1, y1 = (float(part) for part in text.split(",")[:4])
    return write_points(((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def _tears(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    return tuple(
        Mark("polyline", write_points(path), str(number))
        for number, path in enumerate(tear_paths(drawing), 1)
    )


def answered(held: Correction | None, start: Point) -> str:
    """What a person said of a tear that begins at ``start`` [px]: "yes", "no", or "" for nothing.

    A tear found again may begin a little off the place it was answered at.
    """
    if held is None:
        return ""
    said = [(at, "no") for at in held.no_tears] + [(at, "yes") for at in held.tears]
    near = [(math.dist(read_points(at)[0], start), answer) for at, answer in said]
    apart, answer = min(near, default=(math.inf, ""))
    return answer if apart <= SAME_TEAR_PX else ""


def _sorted(layer: Layer, held: Correction | None) -> Layer:
    """The layer of tears with what was answered of each."""
    words = {"yes": " confirmed", "no": " no tear", "": ""}
    marks = []
    for mark in layer.marks:
        answer = answered(held, mark.at)
        marks.append(replace(mark, says=mark.says + words[answer], faint=answer == "no"))
    return replace(layer, marks=tuple(marks))


def tear_paths(drawing: Mapping[str, str]) -> tuple[tuple[Point, ...], ...]:
    """Tears proposed, each from where it begins at the edge to its tip [px]."""
    return tuple(path for path in _shapes(drawing, "tears") if len(path) > 1)


def _stains(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    shapes = _shapes(drawing, "stains")
    return tuple(Mark("polygon", write_points(shape)) for shape in shapes if len(shape) > 2)


def _tiles(drawing: Mapping[str, str]) -> tuple[Mark, ...]:
    marks = []
    for text in drawing.get("tone", "").split()[:MOST_TILES]:
        x, y, side, lightness = (float(part) for part in text.split(",")[:4])
        corners = ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
        marks.append(Mark("polygon", write_points(corners), f"{lightness:.0f}"))
    return tuple(marks)


def _by_hand(held: Correction | None) -> tuple[Layer, ...]:
    if held is None:
        return ()
    corners = [point for point in read_corners(held.corners) if point]
    return (
        Layer(
            "corners",
            "Corners set by hand",
            "crosses in squares",
            tuple(Mark("spot", write_points((point,))) for point in corners),
        ),
        Layer(
            "ignore",
            "Left out by hand",
            "hatched; nothing is measured there",
            tuple(Mark("polygon", write_points(shape)) for shape in read_shapes(held.ignore)),
        ),
    )


def _points(drawing: Mapping[str, str], key: str) -> tuple[Point, ...]:
    """Points of a drawing; an entry of another program version that cannot be read is not drawn."""
    try:
        return read_points(drawing.get(key, ""))
    except ValueError:
        return ()


def _shapes(drawing: Mapping[str, str], key: str) -> tuple[tuple[Point, ...], ...]:
    found = []
    for part in drawing.get(key, "").split(";"):
        try:
            found.append(read_points(part))
        except ValueError:
            continue
    return tuple(shape for shape in found if shape)


_Read = Callable[[Mapping[str, str]], tuple[Mark, ...]]
_LAYERS: tuple[tuple[str, str, str, bool, _Read], ...] = (
    (
        "outline",
        "Edges as fitted",
        "a solid line; broken where the edge is not in the picture",
        True,
        _outline,
    ),
    ("fold", "Fold", "dash and dot; the leaf is measured from here", True, _fold),
    ("losses", "Missing paper", "hatched boxes round chips and holes", True, _losses),
    (
        "tears",
        "Tears proposed",
        "a thick line from the edge inwards, numbered; thin dashes: said to be none",
        True,
        _tears,
    ),
    ("stains", "Stains", "a dotted ring", True, _stains),
    ("rim", "Rim of the paper", "fine dots; the paper as it is, chips included", False, _rim),
    ("tiles", "Where tone was read", "squares with their lightness L*", False, _tiles),
    ("strip", "Bench strip", "short dashes; the scale comes from here", False, _strip),
)
