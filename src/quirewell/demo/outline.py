"""The planted outline of a sheet: torn-looking edges, chips, lost corners, holes, and how the
sheet moved in treatment.

Everything is in millimetres on the sheet, x to the right, y down, head up. What a size means
here (and in ``truth.json``): the **width** is the distance, at mid-height, between the
least-squares straight lines through the left and right edges, the **height** the distance, at
mid-width, between those through head and foot; places where paper is missing take no part in
the lines. The **loss** is the area between those lines and the paper where chips and corners
are gone, plus the holes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quirewell.demo.coverage import polygon_area

Points = NDArray[np.float64]
STEP_MM = 0.25
EDGES = ("head", "right", "foot", "left")
_MISSING = ("chip", "corner")


@dataclass(frozen=True, slots=True)
class Loss:
    """Missing paper.

    ``kind`` "chip" sits on ``edge`` with its middle at ``at_mm`` from the edge's start (edges
    run clockwise from the upper left corner); "corner" lies at the end of ``edge``; "hole" is
    an ellipse whose middle is (``at_mm``, ``across_mm``).
    """

    kind: str
    edge: str = ""
    at_mm: float = 0.0
    across_mm: float = 0.0
    width_mm: float = 4.0
    depth_mm: float = 3.0


@dataclass(frozen=True, slots=True)
class Run:
    """A piece of the outline: an intact stretch of an edge, the torn rim of a loss ("chip",
    "corner"), or a "tear", which takes no paper away."""

    edge: str
    points: Points
    loss: str = ""


@dataclass(frozen=True, slots=True)
class Outline:
    """Outline of a sheet as runs in clockwise order, and its holes (anticlockwise)."""

    runs: tuple[Run, ...]
    holes: tuple[Points, ...] = ()

    def polygons(self) -> list[Points]:
        """Outline and holes as closed polygons."""
        return [np.concatenate([run.points for run in self.runs]), *self.holes]

    def moved(self, move: Movement) -> Outline:
        """The outline after the sheet moved."""
        runs = tuple(replace(run, points=move.forward(run.points)) for run in self.runs)
        return Outline(runs, tuple(move.forward(hole) for hole in self.holes))


@dataclass(frozen=True, slots=True)
class Movement:
    """How a sheet changed size: even stretch, and a smooth warp that leaves the stretch as it is.

    ``x' = x (1 + stretch_x) + warp_x cos(2 pi x / W) cos(2 pi y / H)``, likewise for y. The warp
    is even about the middle of the leaf and equal on opposite edges, so that neither the mean
    strain nor the distance of opposite edges changes: the planted stretch is exact in both.
    """

    stretch_x: float = 0.0
    stretch_y: float = 0.0
    warp_x_mm: float = 0.0
    warp_y_mm: float = 0.0
    period_x_mm: float = 195.0
    period_y_mm: float = 265.0

    def waves(self, x: Points, y: Points) -> tuple[Points, Points]:
        """The warp alone [mm] at sheet points (x, y)."""
        wave = np.cos(2 * np.pi * x / self.period_x_mm) * np.cos(2 * np.pi * y / self.period_y_mm)
        return self.warp_x_mm * wave, self.warp_y_mm * wave

    def forward(self, points: Points) -> Points:
        """Where points (N, 2) of the untreated sheet lie afterwards [mm]."""
        x, y = points[:, 0], points[:, 1]
        wave_x, wave_y = self.waves(x, y)
        return np.column_stack(
            [x * (1 + self.stretch_x) + wave_x, y * (1 + self.stretch_y) + wave_y]
        )


@dataclass(frozen=True, slots=True)
class Size:
    """Planted size and loss of a leaf, by the definition at the head of this module."""

    width_mm: float
    height_mm: float
    loss_mm2: float
    corner_deg: float


def draw_outline(
    rng: np.random.Generator,
    width_mm: float,
    height_mm: float,
    *,
    losses: Sequence[Loss] = (),
    shear: float = 0.0,
    roughness_mm: float = 0.03,
) -> Outline:
    """An outline of a nominal size [mm] with rough edges and the losses named.

    ``shear`` [-] moves the foot to the right by that share of the height, so that the corners
    are off square by ``atan(shear)``.
    """
    lengths = {"head": width_mm, "right": height_mm, "foot": width_mm, "left": height_mm}
    runs: list[Run] = []
    for index, edge in enumerate(EDGES):
        start = _corner_leg(losses, EDGES[index - 1], 1)
        stop = lengths[edge] - _corner_leg(losses, edge, 0)
        runs += _edge_runs(rng, edge, lengths[edge], start, stop, losses, roughness_mm)
        runs += _corner_run(rng, edge, EDGES[(index + 1) % 4], lengths, losses)
    placed = tuple(Run(run.edge, _place(run, width_mm, height_mm, shear), run.loss) for run in runs)
    holes = tuple(_hole(rng, loss) for loss in losses if loss.kind == "hole")
    return Outline(placed, holes)


def _corner_leg(losses: Sequence[Loss], edge: str, leg: int) -> float:
    for loss in losses:
        if loss.kind == "corner" and loss.edge == edge:
            return loss.depth_mm if leg else loss.width_mm
    return 0.0


def _edge_runs(
    rng: np.random.Generator,
    edge: str,
    length: float,
    start: float,
    stop: float,
    losses: Sequence[Loss],
    roughness_mm: float,
) -> list[Run]:
    """Points (along, inward) of an edge, split where a chip interrupts it."""
    count = max(2, round((stop - start) / STEP_MM))
    along = np.linspace(start, stop, count, endpoint=False)
    inward = roughness_mm * _rough(rng, count)
    runs = []
    done = 0
    for chip in sorted(
        (loss for loss in losses if loss.kind == "chip" and loss.edge == edge),
        key=lambda loss: loss.at_mm,
    ):
        first = int(np.searchsorted(along, chip.at_mm - chip.width_mm / 2))
        last = int(np.searchsorted(along, chip.at_mm + chip.width_mm / 2))
        runs.append(Run(edge, np.column_stack([along[done:first], inward[done:first]])))
        rim = np.sin(np.pi * np.linspace(0, 1, last - first)) ** 0.55
        ragged = 1.0 + 0.16 * _rough(rng, last - first)
        depth = np.maximum(chip.depth_mm * rim * np.clip(ragged, 0.5, 1.5), inward[first:last])
        runs.append(Run(edge, np.column_stack([along[first:last], depth]), "chip"))
        done = last
    runs.append(Run(edge, np.column_stack([along[done:], inward[done:]])))
    return runs


def _corner_run(
    rng: np.random.Generator,
    edge: str,
    following: str,
    lengths: dict[str, float],
    losses: Sequence[Loss],
) -> list[Run]:
    for loss in losses:
        if loss.kind == "corner" and loss.edge == edge:
            count = max(6, round(np.hypot(loss.width_mm, loss.depth_mm) / STEP_MM))
            t = np.linspace(0, 1, count, endpoint=False)
            bow = np.sin(np.pi * t) * (0.06 + 0.05 * _rough(rng, count))
            along = lengths[edge] - loss.width_mm * (1 - t - bow)
            return [Run(edge, np.column_stack([along, loss.depth_mm * (t - bow)]), "corner")]
    return []


def _rough(rng: np.random.Generator, count: int) -> Points:
    """Noise of a torn edge: correlated over about a millimetre, some of it over a centimetre."""
    white = rng.standard_normal(count + 64)
    fine = np.convolve(white, np.hanning(9) / 1.9, "same")[32 : 32 + count]
    coarse = np.convolve(white[::-1], np.hanning(57) / 4.6, "same")[32 : 32 + count]
    return np.asarray(0.8 * fine + 0.6 * coarse)


def _place(run: Run, width_mm: float, height_mm: float, shear: float) -> Points:
    along, inward = run.points[:, 0], run.points[:, 1]
    if run.edge == "head":
        x, y = along, inward
    elif run.edge == "right":
        x, y = width_mm - inward, along
    elif run.edge == "foot":
        x, y = width_mm - along, height_mm - inward
    else:
        x, y = inward, height_mm - along
    return np.column_stack([x + shear * (y - height_mm / 2), y])


def _hole(rng: np.random.Generator, loss: Loss) -> Points:
    angle = -np.linspace(0, 2 * np.pi, 48, endpoint=False)
    radius = 1.0 + 0.06 * np.sin(3 * angle + 6.0 * rng.random())
    return np.column_stack(
        [
            loss.at_mm + 0.5 * loss.width_mm * radius * np.cos(angle),
            loss.across_mm + 0.5 * loss.depth_mm * radius * np.sin(angle),
        ]
    )


def edge_line(outline: Outline, edge: str) -> tuple[float, float]:
    """Least-squares line through the intact points of an edge: (offset [mm], slope [-]).

    Head and foot as y = offset + slope x, left and right as x = offset + slope y.
    """
    points = np.concatenate(
        [run.points for run in outline.runs if run.edge == edge and not run.loss]
    )
    along, across = (0, 1) if edge in ("head", "foot") else (1, 0)
    slope, offset = np.polyfit(points[:, along], points[:, across], 1)
    return float(offset), float(slope)


def size_of(outline: Outline) -> Size:
    """Size, loss and squareness of an outline, by the definition at the head of this module."""
    lines = {edge: edge_line(outline, edge) for edge in EDGES}
    corners = {
        (edge, after): _meet(lines, edge, after)
        for edge, after in zip(EDGES, (*EDGES[1:], EDGES[0]), strict=True)
    }
    x_mid = float(np.mean([corner[0] for corner in corners.values()]))
    y_mid = float(np.mean([corner[1] for corner in corners.values()]))
    width = _gap(lines["left"], lines["right"], y_mid)
    height = _gap(lines["head"], lines["foot"], x_mid)
    loss = sum(_missing(run, lines, corners) for run in outline.runs if run.loss in _MISSING)
    loss += sum(abs(polygon_area(hole)) for hole in outline.holes)
    tilt = 0.5 * (lines["left"][1] + lines["right"][1] + lines["head"][1] + lines["foot"][1])
    return Size(width, height, loss, 90.0 + float(np.degrees(np.arctan(tilt))))


def _gap(low: tuple[float, float], high: tuple[float, float], at: float) -> float:
    """Perpendicular distance [mm] of two nearly parallel lines at a place along them."""
    slope = 0.5 * (low[1] + high[1])
    return float((high[0] - low[0] + (high[1] - low[1]) * at) / np.hypot(1.0, slope))


def _meet(lines: dict[str, tuple[float, float]], one: str, other: str) -> tuple[float, float]:
    level, upright = (one, other) if one in ("head", "foot") else (other, one)
    (a, b), (c, d) = lines[level], lines[upright]
    x = (c + d * a) / (1.0 - b * d)
    return x, a + b * x


def _missing(
    run: Run,
    lines: dict[str, tuple[float, float]],
    corners: dict[tuple[str, str], tuple[float, float]],
) -> float:
    """Area [mm2] between the torn rim of a loss and the lines of the edges it interrupts."""
    first = _foot_point(run.points[0], run.edge, lines)
    if run.loss == "chip":
        closing = [_foot_point(run.points[-1], run.edge, lines), first]
    else:
        after = EDGES[(EDGES.index(run.edge) + 1) % 4]
        closing = [_foot_point(run.points[-1], after, lines), corners[run.edge, after], first]
    return abs(polygon_area(np.concatenate([run.points, np.array(closing)])))


def _foot_point(
    point: Points, edge: str, lines: dict[str, tuple[float, float]]
) -> tuple[float, float]:
    offset, slope = lines[edge]
    x, y = float(point[0]), float(point[1])
    return (x, offset + slope * x) if edge in ("head", "foot") else (offset + slope * y, y)
