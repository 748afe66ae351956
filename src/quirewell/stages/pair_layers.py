"""What a comparison drew, as layers on the before picture: where the paper moved and strained.

Displacements are shown with the turn and the shift taken out (how the leaf lay on the glass),
and drawn longer than they are by a factor that is stated.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.record.finding import Run
from quirewell.record.shapes import write_points
from quirewell.stages.drawn import Layer, Mark

Real = NDArray[np.float64]
FACTORS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
_ARROW_SHARE = 0.06
_MOST_ARROWS = 300
_MOST_DOTS = 1500
_MOST_BOXES = 60
_CELLS = 7
_STEPS = ("m2", "m1", "0", "p1", "p2")
_ROUND = (0.01, 0.02, 0.03, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class Arrow:
    """How a point of the sheet moved: from (x, y) by (dx, dy), in pixels of the before picture."""

    x: float
    y: float
    dx: float
    dy: float


@dataclass(frozen=True, slots=True)
class Cell:
    """Mean strain of a piece of the sheet: its box [px], its number in words, its colour step."""

    x: float
    y: float
    width: float
    height: float
    says: str
    step: str


@dataclass(frozen=True, slots=True)
class StrainMap:
    """Strain along one side of the sheet, in cells; ``top_pct`` is the end of its colours."""

    key: str
    name: str
    cells: tuple[Cell, ...]
    top_pct: float
    mean: str

    @property
    def scale(self) -> tuple[tuple[str, str], ...]:
        """Colour steps with what they mean."""
        top = f"{self.top_pct:g}"
        half = f"{self.top_pct / 2:g}"
        words = (
            f"\u2212{top} % or less",
            f"\u2212{half} %",
            "0",
            f"+{half} %",
            f"+{top} % or more",
        )
        return tuple(zip(_STEPS, words, strict=True))


@dataclass(frozen=True, slots=True)
class PairLayers:
    """All that can be drawn over a pair; empty where the comparison left no field."""

    width_px: int
    height_px: int
    um_per_px: float | None
    arrows: tuple[Arrow, ...]
    factor: int
    factors: tuple[int, ...]
    largest: str
    strains: tuple[StrainMap, ...]
    dots: str
    dot_count: int
    inks: Layer | None

    @property
    def any(self) -> bool:
        """Whether there is a layer to switch."""
        return bool(self.arrows or self.strains or self.dots or self.inks)


def pair_layers(
    run: Run, um_per_px: float | None, factor: int = 0, size_px: tuple[int, int] = (0, 0)
) -> PairLayers:
    """Layers of a comparison; ``factor`` 0 chooses how much longer arrows are drawn.

    ``size_px`` is the before picture's size, where the run does not say it.
    """
    width, height = _size(run.drawing.get("before_size_px", ""), size_px)
    field = _numbers(run.drawing.get("field", ""), 6)
    arrows = _arrows(field)
    chosen = factor if factor in FACTORS else _factor(arrows, width)
    longest = max((math.hypot(one.dx, one.dy) for one in arrows), default=0.0)
    points = _numbers(run.drawing.get("points_px", ""), 2)
    kept = points[:: max(1, -(-len(points) // _MOST_DOTS))]
    dots = "".join(f"M{x:g} {y:g}h0" for x, y in kept)
    return PairLayers(
        width, height, um_per_px, arrows, chosen, FACTORS, _length(longest, um_per_px),
        _strains(field, run), dots, len(points), ink_layer(run),
    )  # fmt: skip


def _size(text: str, otherwise: tuple[int, int]) -> tuple[int, int]:
    parts = text.split()
    if len(parts) != 2 or not all(part.isdigit() for part in parts):
        return otherwise
    return int(parts[0]), int(parts[1])


def _numbers(text: str, count: int) -> Real:
    """Rows of ``count`` numbers, "a,b,.. a,b,.."; rows that are not whole are left out."""
    rows = []
    for part in text.split():
        try:
            values = [float(value) for value in part.split(",")]
        except ValueError:
            continue
        if len(values) == count and all(map(math.isfinite, values)):
            rows.append(values)
    return np.array(rows, dtype=np.float64).reshape(-1, count)


def _arrows(field: Real) -> tuple[Arrow, ...]:
    if len(field) < 3:
        return ()
    left = field[:, 2:4] - rigid_part(field[:, :2], field[:, 2:4])
    step = max(1, -(-len(field) // _MOST_ARROWS))
    return tuple(
        Arrow(*(round(float(value), 4) for value in (*at, *by)))
        for at, by in zip(field[::step, :2], left[::step], strict=True)
    )


def rigid_part(points: Real, moved: Real) -> Real:
    """The part of displacements ``moved`` at ``points`` (n x 2) that is a turn and a shift.

    Least squares over all points (orthogonal Procrustes, no scale).
    """
    target = points + moved
    middle, goal = points.mean(axis=0), target.mean(axis=0)
    left, _, right = np.linalg.svd((points - middle).T @ (target - goal))
    flip = np.diag([1.0, np.sign(np.linalg.det(left @ right))])
    turn = left @ flip @ right
    return np.asarray((points - middle) @ turn + goal - points, dtype=np.float64)


def _factor(arrows: tuple[Arrow, ...], width: int) -> int:
    longest = max((math.hypot(one.dx, one.dy) for one in arrows), default=0.0)
    if longest <= 0 or not width:
        return FACTORS[0]
    most = _ARROW_SHARE * width / longest
    return max((factor for factor in FACTORS if factor <= most), default=FACTORS[0])


def _length(px: float, um_per_px: float | None) -> str:
    if not px:
        return ""
    return f"{px * um_per_px / 1000:.2g} mm" if um_per_px else f"{px:.2g} px"


def _strains(field: Real, run: Run) -> tuple[StrainMap, ...]:
    if len(field) < 4:
        return ()
    made = []
    for key, name, column in (
        ("across", "Strain across (width)", 4),
        ("along", "Strain along (height)", 5),
    ):
        per_cent = field[:, column] / 1e4
        groups = _cells(field[:, :2], per_cent)
        largest = max(abs(mean) for *_, mean in groups)
        top = next((step for step in _ROUND if step >= largest), _ROUND[-1])
        cells = tuple(
            Cell(x, y, wide, high, signed(mean, top), _step(mean, top))
            for x, y, wide, high, mean in groups
        )
        made.append(StrainMap(key, name, cells, top, signed(float(per_cent.mean()), top)))
    return tuple(made)


def signed(per_cent: float, top: float) -> str:
    """A strain in per cent with its sign, to a tenth of the end of the scale.

    >>> signed(0.1234, 0.2), signed(-0.0004, 0.2)
    ('+0.12', '0.00')
    """
    places = max(0, 1 - math.floor(math.log10(top)))
    text = f"{per_cent:+.{places}f}"
    return text[1:] if float(text) == 0 else text.replace("-", "\u2212")


def _step(mean: float, top: float) -> str:
    return _STEPS[int(np.clip(round(2 * mean / top), -2, 2)) + 2]


def _cells(points: Real, values: Real) -> list[tuple[float, float, float, float, float]]:
    """Boxes of at most a few by a few over the points, with the mean value in each."""
    low, high = points.min(axis=0), points.max(axis=0)
    span = np.maximum(high - low, 1.0)
    columns = _CELLS
    rows = max(1, round(columns * float(span[1] / span[0])))
    rows = min(rows, 2 * _CELLS)
    size = span / (columns, rows)
    index = np.clip(((points - low) / size).astype(int), 0, (columns - 1, rows - 1))
    out = []
    for row in range(rows):
        for column in range(columns):
            inside = (index[:, 0] == column) & (index[:, 1] == row)
            if inside.any():
                x, y = low + size * (column, row)
                box = (round(float(part), 1) for part in (x, y, *size))
                out.append((*box, float(values[inside].mean())))
    return out  # type: ignore[return-value]


def ink_layer(run: Run) -> Layer | None:
    """Boxes of the inks compared, from "key:x,y,w,h x,y,w,h;key:.." as the comparison drew them."""
    marks = []
    for part in run.drawing.get("inks", "").split(";"):
        key, _, boxes = part.strip().partition(":")
        for x, y, wide, high in _numbers(boxes, 4)[:_MOST_BOXES]:
            corners = ((x, y), (x + wide, y), (x + wide, y + high), (x, y + high))
            outline = write_points(tuple((float(a), float(b)) for a, b in corners))
            marks.append(Mark("polygon", outline, key.replace("_", " ")))
    if not marks:
        return None
    says = "boxes with the ink's name, round the places that were compared"
    return Layer("inks", "Inks compared", says, tuple(marks), on=False)
