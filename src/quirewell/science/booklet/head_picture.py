"""Spine roll from one photograph of the head of the closed pamphlet: angles only, no scale.

The block lies long and thin on a ground of another tone, one end cut by the fore-edge. It is
parted from its ground by one threshold (``otsu1979``), its two long sides and that end are fitted
with straight lines robust to torn corners (Huber's weights), and the roll is how far the end
leans from square to the middle of both sides. The end's doubt counts neighbouring rows as one
where they agree (leaves are wider than pixels); what a camera that leans adds is told by
:mod:`.head_camera`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.booklet.head_camera import camera_doubt
from quirewell.science.booklet.reading import Reading

Array = NDArray[np.float64]
End = Literal["left", "right"]
_WORKING_PX = 3000
_THINNEST_PX, _LONGEST_WEDGE_DEG, _STEEPEST_DEG = 16, 6.0, 60.0


class NotSeen(ValueError):
    """What the picture does not show; the message says what to do."""


@dataclass(frozen=True, slots=True)
class HeadSeen:
    """``roll`` [degrees], positive where the upper side in the picture stands out; ``thick_px`` in
    pixels of the picture given, ``wedge_deg`` between both long sides, ``rough`` the end's scatter
    by the thickness; ``end`` and ``sides``: two points each, (x, y) [px], to draw; ``says``: what
    makes the roll less sure than usual."""

    roll: Reading
    thick_px: float
    wedge_deg: float
    rough: float
    end: tuple[tuple[float, float], tuple[float, float]]
    sides: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    says: tuple[str, ...] = ()


def roll_of_head(picture: NDArray[Any], fore_edge: End = "right") -> HeadSeen:
    """The roll of the block whose head ``picture`` shows, lying level.

    Parameters
    ----------
    picture
        (rows, columns) or (rows, columns, 3); any number type
    fore_edge
        at which side of the picture the fore-edge lies

    Raises
    ------
    NotSeen
        in a sentence, when no straight block with its end inside the picture is seen
    """
    grey, shrunk = _grey(picture)
    if fore_edge == "left":
        grey = np.ascontiguousarray(grey[:, ::-1])
    mask, level, sign = _block(grey)
    columns = np.flatnonzero(mask.any(axis=0))
    first, last = int(columns[0]), int(columns[-1])
    if last >= grey.shape[1] - 2:
        raise NotSeen(
            f"the block runs out of the picture on the {fore_edge}, where its fore-edge should be: "
            "leave ground beyond it, or say that the fore-edge lies on the other side"
        )
    thick = float(np.median(mask[:, columns].sum(axis=0)))
    if thick < _THINNEST_PX * 1.0:
        raise NotSeen(
            f"the block is {thick:.0f} pixels thick; {_THINNEST_PX} or more are needed. Come "
            "nearer: the fore-edge and a few centimetres of the head are enough"
        )
    if last - first < 2.5 * thick:
        raise NotSeen(
            "what stands out from the ground is not long and thin: photograph the head level, on a "
            "ground of one tone"
        )
    signed = sign * (grey - level)
    upper, lower, wedge = _sides(signed, mask, last, thick)
    end, points, rough, u_end, bend = _end(signed, upper, lower, thick)
    axis = math.atan((upper[0] + lower[0]) / 2)
    lean = math.atan(end[0])
    roll = math.degrees(-(lean + axis))
    if rough > 0.15 or abs(roll) > _STEEPEST_DEG:
        raise NotSeen(
            "the fore-edge is not straight enough to give an angle: a leaf stands out or is torn, "
            "or the picture shows another end; use a steel rule across the fore-edge instead"
        )
    height, width = grey.shape
    slope, at = (upper[0] + lower[0]) / 2, (upper[1] + lower[1]) / 2
    camera = camera_doubt(
        end_off_px=_away(end, (height - 1) / 2, (width - 1) / 2),
        axis_off_px=_away((slope, at), (width - 1) / 2, (height - 1) / 2),
        longer_px=max(height, width), thick_px=thick, wedge_deg=wedge, bend_deg=bend,
    )  # fmt: skip
    u = math.hypot(math.degrees(u_end), camera.u_deg)

    def place(x: float, y: float) -> tuple[float, float]:
        return ((width - 1 - x if fore_edge == "left" else x) * shrunk, y * shrunk)

    left, right = float(first), float(last)
    return HeadSeen(
        Reading(roll, u), thick * shrunk, wedge, rough,
        (place(end[0] * points[0] + end[1], points[0]), place(end[0] * points[1] + end[1],
                                                              points[1])),
        tuple(
            (place(left, slope * left + at), place(right, slope * right + at))
            for slope, at in (upper, lower)
        ),
        camera.says,
    )  # fmt: skip


def _away(line: tuple[float, float], along: float, across: float) -> float:
    """Distance of a point from the line across = slope along + at."""
    return abs(line[0] * along + line[1] - across) / math.hypot(1, line[0])


def _grey(picture: NDArray[Any]) -> tuple[Array, float]:
    if picture.ndim not in (2, 3) or min(picture.shape[:2]) < 40:
        raise NotSeen("a photograph of 40 pixels or more either way is needed")
    grey: NDArray[Any] = picture.astype(np.float32)
    if grey.ndim == 3:
        grey = np.ascontiguousarray(grey[..., :3].mean(axis=2))
    shrunk = max(1.0, max(grey.shape) / _WORKING_PX)
    if shrunk > 1:
        size = (round(grey.shape[1] / shrunk), round(grey.shape[0] / shrunk))
        grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    low, high = np.percentile(grey, (0.5, 99.5))
    if high - low < 1e-6:
        raise NotSeen("the picture is of one tone; no block is seen")
    return ((grey - low) / (high - low)).astype(np.float64), shrunk


def _block(grey: Array) -> tuple[NDArray[np.bool_], float, float]:
    """The block's pixels, the threshold (between the tones of both sides), and +1 where it is
    lighter than its ground."""
    eight = np.clip(255 * cv2.GaussianBlur(grey, (0, 0), 1.2), 0, 255).astype(np.uint8)
    _, above = cv2.threshold(eight, 0, 1, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    rows = np.concatenate([above[:3].ravel(), above[-3:].ravel()])
    sign = -1.0 if rows.mean() > 0.5 else 1.0
    inside = above if sign > 0 else 1 - above
    # Gaps between leaves are of the block.
    closed = cv2.morphologyEx(inside, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, boxes, _ = cv2.connectedComponentsWithStats(closed)
    if count < 2:
        raise NotSeen("nothing stands out from the ground; use a ground of another tone")
    best = 1 + int(np.argmax(boxes[1:, cv2.CC_STAT_AREA]))
    mask: NDArray[np.bool_] = labels == best
    ground = float(np.median(grey[inside == 0])) if np.any(inside == 0) else 0.0
    paper = float(np.median(grey[mask]))
    if abs(paper - ground) < 0.15:
        raise NotSeen(
            "block and ground are too much alike; lay it on black or white card and avoid shadows"
        )
    return mask, (paper + ground) / 2, sign


def _sides(
    signed: Array, mask: NDArray[np.bool_], last: int, thick: float
) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Both long sides as y = slope x + at, and the angle between them [degrees]."""
    stop = last - int(thick)
    start = max(int(np.flatnonzero(mask.any(axis=0))[0]) + int(thick / 2), stop - int(12 * thick))
    xs = np.arange(start, stop)
    top, low = [], []
    for x in xs:
        rows = np.flatnonzero(mask[:, x])
        top.append(_cross(signed[:, x], int(rows[0]), -1) if len(rows) else math.nan)
        low.append(_cross(signed[:, x], int(rows[-1]), 1) if len(rows) else math.nan)
    if len(xs) < 10 or np.isfinite(top).sum() < 10 or np.isfinite(low).sum() < 10:
        raise NotSeen("too little of the long sides is seen; photograph more of the head")
    upper, off_up = _line(xs.astype(np.float64), np.array(top))
    lower, off_low = _line(xs.astype(np.float64), np.array(low))
    wedge = abs(math.degrees(math.atan(upper[0]) - math.atan(lower[0])))
    if wedge > _LONGEST_WEDGE_DEG or max(_spread(off_up), _spread(off_low)) > 0.12 * thick:
        raise NotSeen(
            f"the long sides are not straight and level with one another ({wedge:.1f} degrees "
            "apart): close the pamphlet under a light weight and hold the camera squarely"
        )
    return upper, lower, wedge


def _end(
    signed: Array, upper: tuple[float, float], lower: tuple[float, float], thick: float
) -> tuple[tuple[float, float], tuple[float, float], float, float, float]:
    """The fore-edge as x = slope y + at over the middle of the thickness, its ends' y, its scatter
    by the thickness, the u of its angle [rad], and how far both its halves differ [degrees], 0
    within their noise."""
    height, width = signed.shape
    slope, at = (upper[0] + lower[0]) / 2, (upper[1] + lower[1]) / 2
    half = 0.5 * abs(lower[1] - upper[1] + (lower[0] - upper[0]) * width)
    ys, xs = [], []
    for y in range(height):
        found = _last_inside(signed[y])
        if found is None:
            continue
        from_axis = (y - slope * found - at) * math.cos(math.atan(slope))
        if abs(from_axis) < 0.8 * max(half, thick / 2):
            ys.append(float(y))
            xs.append(found)
    if len(ys) < _THINNEST_PX / 2:
        raise NotSeen("the fore-edge is not seen as an end of the block; use another ground")
    rows, ends = np.array(ys), np.array(xs)
    line, off = _line(rows, ends)
    u = _slope_u(rows, off) / (1 + line[0] ** 2)
    bend = _bend(rows, ends)
    return line, (float(rows[0]), float(rows[-1])), _spread(off) / thick, u, bend


def _slope_u(rows: Array, off: Array) -> float:
    """u of a slope whose fit leaves ``off``; neighbouring rows count as one where they agree."""
    near = off[np.abs(off) < 4 * _spread(off) + 1e-9]
    agree = float(np.corrcoef(near[:-1], near[1:])[0, 1]) if near.std() > 1e-9 else 0.0
    agree = min(max(agree, 0.0), 0.95)
    apart = len(rows) * (1 - agree) / (1 + agree)
    return max(_spread(off), 0.1) / float(rows.std() * math.sqrt(max(apart, 3.0)))


def _bend(rows: Array, xs: Array) -> float:
    """Between the upper and lower half of the fore-edge [degrees]; 0 where chance may do it."""
    half = len(rows) // 2
    if half < _THINNEST_PX / 2:
        return 0.0
    upper, off_up = _line(rows[:half], xs[:half])
    lower, off_low = _line(rows[half:], xs[half:])
    angle = math.atan(upper[0]) - math.atan(lower[0])
    u = math.hypot(_slope_u(rows[:half], off_up), _slope_u(rows[half:], off_low))
    return math.degrees(abs(angle)) if abs(angle) > 3 * u else 0.0


def _last_inside(row: Array) -> float | None:
    """Where the last stretch of the block in a row ends, between pixels."""
    inside = np.flatnonzero(row > 0)
    if not len(inside) or inside[-1] + 1 >= len(row):
        return None
    return _cross(row, int(inside[-1]), 1)


def _cross(values: Array, at: int, step: int) -> float:
    """Where ``values`` crosses 0 near ``at``, going by ``step``."""
    for here in range(at - 3 * step, at + 4 * step, step):
        there = here + step
        if not (0 <= here < len(values) and 0 <= there < len(values)):
            continue
        if values[here] > 0 >= values[there]:
            return here + step * float(values[here] / (values[here] - values[there]))
    return math.nan


def _line(along: Array, across: Array) -> tuple[tuple[float, float], Array]:
    """A straight line across = slope along + at, weights by Huber's, and what is left."""
    good = np.isfinite(across)
    along, across = along[good], across[good]
    weights = np.ones_like(along)
    slope = at = 0.0
    off = across
    for _ in range(30):
        slope, at = np.polyfit(along, across, 1, w=np.sqrt(weights))
        off = across - slope * along - at
        reach = 1.345 * max(_spread(off), 0.02)
        weights = np.minimum(1.0, reach / np.maximum(np.abs(off), 1e-12)) ** 2
    return (float(slope), float(at)), off


def _spread(off: Array) -> float:
    return 1.4826 * float(np.median(np.abs(off - np.median(off))))
