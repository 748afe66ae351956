"""The straight edges of a leaf: first on the coarse map, then to a fraction of a pixel.

Coordinates are pixels from the upper left corner of the picture; a pixel's middle is at +0.5.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.curved import Course, Curve, course_of, fit_curve
from quirewell.science.imaging.region import Region
from quirewell.science.imaging.step_shape import overshoot, step_blur, straightened

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
Side = Literal["head", "right", "foot", "left"]
SIDES: tuple[Side, ...] = ("head", "right", "foot", "left")
# How far the half-way point may lie from the true edge: found on planted leaves, rounded up.
# Under a white lid the leaf's own shadow makes it worse.
EDGE_BIAS_PX = 0.03
EDGE_BIAS_LIGHT_PX = 0.05
_STEEPEST = 0.2
_BLOCK_MM = 5.0
_BARE = 0.8
# Lines tried through two places of the coarse map, and how near others must lie to agree.
_TRIES, _AGREES_PX = 300, 1.5

# What lies farther from the edge than this (a strip beside the leaf) does not hide it.
_NEAR_PX = 4.0


@dataclass(frozen=True, slots=True)
class Line:
    """A straight edge: head and foot as y = offset + slope x, left and right as x = offset +
    slope y [px]."""

    side: str
    offset: float
    slope: float

    @property
    def level(self) -> bool:
        """Whether it runs across the picture."""
        return self.side in ("head", "foot")

    def at(self, along: NDArray[np.floating] | float) -> Array:
        """Place across at places along."""
        return np.asarray(self.offset + self.slope * np.asarray(along, dtype=np.float64))


@dataclass(frozen=True, slots=True)
class Edge:
    """A line fitted to an edge.

    ``u_px`` is the standard uncertainty of its middle from the unevenness of the edge;
    ``rough_px`` the robust standard deviation of the edge about the line; ``share`` the part
    of its length that lies on the line (the rest is missing or unclear); ``blur_px`` the
    standard deviation of the step from ground to paper, ``overshoot`` by how much of the step
    its shoulders exceed it on both sides (a sharpened scan). ``curve`` is how the edge departs
    from the line, where it is not straight; ``course`` is the course of the edge as it was seen.
    """

    line: Line
    u_px: float
    rough_px: float
    share: float
    blur_px: float
    contrast: float
    overshoot: float = 0.0
    curve: Curve | None = None
    course: Course | None = None


def meet(one: Line, other: Line) -> tuple[float, float]:
    """Where a level line and an upright one cross [px]."""
    level, upright = (one, other) if one.level else (other, one)
    x = (upright.offset + upright.slope * level.offset) / (1.0 - upright.slope * level.slope)
    return x, level.offset + level.slope * x


def coarse_line(region: Region, side: Side) -> tuple[Line, float, float] | None:
    """The best straight line through one side of the coarse map, in pixels of the full picture.

    Returns
    -------
    (line, from, to)
        with the stretch along it over which the leaf reaches; None when the paper runs out of
        the picture there or no straight edge is found
    """
    leaf = region.leaf if side in ("left", "right") else region.leaf.T
    if side in ("right", "foot"):
        leaf = leaf[:, ::-1]
    rows = np.flatnonzero(leaf.any(axis=1))
    if rows.size < 10:
        return None
    first = np.argmax(leaf[rows], axis=1)
    inside = first > 1
    if inside.mean() < 0.35:
        return None
    found = _best_line(rows[inside].astype(np.float64), first[inside].astype(np.float64), rows.size)
    if found is None:
        return None
    offset, slope = found
    # Row and column numbers of the small map are pixel middles; an edge lies half before.
    offset = offset - 0.5 * slope
    if side in ("right", "foot"):
        offset, slope = leaf.shape[1] - offset, -slope
    f = region.factor
    return Line(side, offset * f, slope), float(rows[0]) * f, float(rows[-1] + 1) * f


def _best_line(along: Array, across: Array, length: int) -> tuple[float, float] | None:
    """The line that most points agree with (RANSAC, fixed seed), refined by least squares."""
    pairs = np.random.default_rng(5).integers(0, along.size, (_TRIES, 2))
    one, other = pairs[np.abs(along[pairs[:, 0]] - along[pairs[:, 1]]) >= 0.15 * length].T
    slopes = (across[other] - across[one]) / (along[other] - along[one])
    one, slopes = one[np.abs(slopes) <= _STEEPEST], slopes[np.abs(slopes) <= _STEEPEST]
    if not one.size:
        return None
    offsets = across[one] - slopes * along[one]
    near = np.abs(across - offsets[:, None] - slopes[:, None] * along) < _AGREES_PX
    votes = near.sum(axis=1)
    best, agree = near[int(np.argmax(votes))], int(votes.max())
    if agree < 0.35 * length:
        return None
    slope, offset = (float(v) for v in np.polyfit(along[best], across[best], 1))
    return offset, slope


def fine_edge(
    pixels: Pixels,
    coarse: Line,
    start: float,
    stop: float,
    px_mm: float,
    region: Region | None = None,
    curved: bool = True,
) -> Edge | None:
    """Fit a line to the places where light is half-way between local ground and edge paper.

    Profiles cross the edge at every pixel (at most 4000). Ground and paper levels are those a
    few pixels outside and inside, medians over 15 mm along the edge; colours are weighed so
    that these two differ most. Chips and lost corners fall out as outliers.

    Parameters
    ----------
    start, stop
        stretch of the edge to look at [px along it]
    px_mm
        rough size of a pixel [mm]
    region
        map whose hidden parts are not looked at
    curved
        whether to look, too, how the edge departs from the line
    """
    reach = int(np.clip(round(1.6 / px_mm), 10, 60))
    count = int(np.clip(stop - start, 20, 4000))
    along = np.linspace(start, stop, count)
    slope = coarse.slope
    norm = float(np.hypot(1.0, slope))
    inward = 1.0 if coarse.side in ("head", "left") else -1.0
    steps = np.arange(-reach, reach + 0.25, 0.5)
    run = coarse.at(along)[:, None] + inward * steps / norm
    aside = along[:, None] - inward * steps * slope / norm
    x, y = (aside, run) if coarse.level else (run, aside)
    profiles = _sample(pixels, x, y)
    if profiles is None:
        return None
    window = max(3, round(15.0 / px_mm * count / (stop - start)))
    bare = _bare(profiles, steps, window)
    share, contrast = _shares(profiles, steps, window, bare)
    depth, good = _crossings(share, steps)
    if region is not None and region.hidden.any():
        near = np.abs(steps) <= _NEAR_PX
        good &= ~_crossing_hidden(region, x[:, near], y[:, near])
    if (good & bare).sum() < max(10, 0.1 * count):
        return None
    return _fitted(
        coarse, along, depth, good, bare, share, steps, contrast, px_mm, norm, inward, curved
    )  # fmt: skip


def _crossing_hidden(region: Region, x: Array, y: Array) -> NDArray[np.bool_]:
    """Which profiles run through something that is to be left out."""
    rows = np.clip((y / region.factor).astype(int), 0, region.hidden.shape[0] - 1)
    columns = np.clip((x / region.factor).astype(int), 0, region.hidden.shape[1] - 1)
    return np.asarray(region.hidden[rows, columns].any(axis=1))


def _bare(profiles: Array, steps: Array, window: int) -> NDArray[np.bool_]:
    """Where no print lies within six pixels of the edge; everywhere, when nearly none is bare."""
    zone = (steps >= 1.0) & (steps <= 6.0)
    darkest = profiles[:, zone, 1].min(axis=1)
    wide = min(3 * window, len(darkest))
    usual = scipy.ndimage.percentile_filter(darkest, 80, size=wide, mode="nearest")
    bare = darkest >= _BARE * usual
    return bare if bare.mean() >= 0.15 else np.ones(len(darkest), dtype=bool)


def _shares(
    profiles: Array, steps: Array, window: int, bare: NDArray[np.bool_]
) -> tuple[Array, float]:
    """Share of paper [0..1] along each profile, and the median contrast in linear light.

    The levels of ground (a soft shadow lies on it) and of paper (tanned to its edge) are
    carried on to the edge by straight lines.
    """
    ground, fall = _level(profiles, steps, window, -1.0, 0.5, np.ones_like(bare))
    paper, tan = _level(profiles, steps, window, 1.0, 0.1, bare)
    out, into = np.minimum(steps, 0.0), np.maximum(steps, 0.0)
    below = ground[:, None] + out[None, :, None] * fall[:, None]
    above = paper[:, None] + into[None, :, None] * tan[:, None]
    way = above - below
    square = np.maximum((way**2).sum(axis=2), 1e-9)
    share = ((profiles - below) * way).sum(axis=2) / square
    return np.asarray(share), float(np.median(np.sqrt(square)))


def _level(
    profiles: Array,
    steps: Array,
    window: int,
    side: float,
    most: float,
    use: NDArray[np.bool_],
) -> tuple[Array, Array]:
    """Level at the edge and its slope, from two zones on one side, smoothed along the edge.

    Only the profiles to ``use`` count; between them the level is carried over. The step carried
    on from the nearer zone is at most the part ``most`` of the level.
    """
    at, taken = np.arange(len(profiles)), np.flatnonzero(use)
    values: list[Array] = []
    size = min(window, len(profiles))
    for first, last in ((2.5, 5.5), (6.0, 10.0)):
        zone = (side * steps >= first) & (side * steps <= min(last, float(steps.max())))
        if not zone.any():
            return values[0], np.zeros_like(values[0])
        middle = medians(profiles[:, zone], 1)
        if taken.size < at.size:
            middle = np.column_stack([np.interp(at, taken, plane[taken]) for plane in middle.T])
        # One plane after another: for a line of values there is a quick way.
        planes = [
            scipy.ndimage.median_filter(plane, size=size, mode="nearest") for plane in middle.T
        ]
        values.append(np.column_stack(planes))
    near, far = values
    slope = (near - far) / 4.0
    limit = most * np.abs(near) / 4.0
    slope = np.clip(slope, -limit, limit)
    return near + 4.0 * slope, -side * slope


def medians(values: NDArray[np.floating], axis: int) -> Array:
    """Medians along an axis, as numpy's own: sorted side by side in memory, many short rows take a
    sixth of its time."""
    ordered = np.sort(np.ascontiguousarray(np.moveaxis(values, axis, -1)), axis=-1)
    half = ordered.shape[-1] // 2
    if ordered.shape[-1] % 2:
        return np.asarray(ordered[..., half])
    return np.asarray((ordered[..., half - 1] + ordered[..., half]) / ordered.dtype.type(2))


def _crossings(share: Array, steps: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Depth at which each profile, coming from outside, rises to one half for good."""
    above = share >= 0.5
    lasting = above[:, :-2] & above[:, 1:-1] & above[:, 2:]
    where = np.argmax(lasting, axis=1)
    good = lasting.any(axis=1) & (where > 0)
    where = np.maximum(where, 1)
    rows = np.arange(len(share))
    low, high = share[rows, where - 1], share[rows, where]
    good &= (low < 0.5) & (high > low)
    part = (0.5 - low) / np.where(high > low, high - low, 1.0)
    return steps[where - 1] + (steps[1] - steps[0]) * part, good


def _fitted(
    coarse: Line,
    along: Array,
    depth: Array,
    good: NDArray[np.bool_],
    bare: NDArray[np.bool_],
    share: Array,
    steps: Array,
    contrast: float,
    px_mm: float,
    norm: float,
    inward: float,
    curved: bool,
) -> Edge:
    spacing = float(along[1] - along[0])
    keep = _densest(along, depth, good & bare)
    slope, offset, rough = 0.0, 0.0, 0.0
    middle = float(along.mean())
    for turn in range(6):
        slope, offset = (float(v) for v in np.polyfit(along[keep] - middle, depth[keep], 1))
        miss = depth - offset - slope * (along - middle)
        rough = 1.4826 * float(np.median(np.abs(miss[keep])))
        bad = good & (np.abs(miss) > max(3.5 * rough, 0.15))
        bad |= ~good
        # The rims of a chip belong to the chip: leave out a stretch beside every long gap.
        pad = max(1, round(0.6 / px_mm / spacing))
        gap = cv2.morphologyEx(
            bad.astype(np.uint8)[None], cv2.MORPH_OPEN, np.ones((1, pad), np.uint8)
        )
        gap = cv2.dilate(gap, np.ones((1, 2 * pad + 1), np.uint8))[0] > 0
        next_keep = good & bare & ~bad & ~gap
        if next_keep.sum() < 10 or (turn and np.array_equal(next_keep, keep)):
            break
        keep = next_keep
    line = Line(
        coarse.side,
        coarse.offset + inward * norm * (offset - slope * middle),
        coarse.slope + inward * norm * slope,
    )
    miss = depth - offset - slope * (along - middle)
    u = _block_u(along[keep], miss[keep], max(_BLOCK_MM / px_mm, 8.0))
    curve, course = None, None
    if curved:
        away = inward * norm * miss
        curve = fit_curve(along, away, good & bare, keep, px_mm)
        course = course_of(along, away, good, px_mm)
    aligned = straightened(share[keep], steps, offset + slope * (along[keep] - middle))
    return Edge(
        line, u, rough, float(keep.mean()), step_blur(aligned, steps), contrast,
        overshoot(aligned, steps), curve, course,
    )  # fmt: skip


def _densest(along: Array, depth: Array, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The points about the densest half of the depths: print at an edge shifts the others."""
    for _ in range(2):
        slope, offset = np.polyfit(along[good], depth[good], 1)
        miss = depth - offset - slope * along
        order = np.sort(miss[good])
        half = order.size // 2
        spread = order[half:] - order[: order.size - half]
        at = int(np.argmin(spread))
        middle, reach = 0.5 * (order[at] + order[at + half]), float(spread[at])
        near = good & (np.abs(miss - middle) <= max(1.5 * reach, 0.3))
        if near.sum() < 10:
            break
        good = near
    return good


def _block_u(along: Array, miss: Array, block: float) -> float:
    """Standard uncertainty of the line's middle: scatter of block means over their root."""
    index = ((along - along[0]) / block).astype(int)
    counts = np.bincount(index)
    means = np.bincount(index, miss)[counts >= 3] / counts[counts >= 3]
    if means.size < 4:
        return float(np.std(miss)) + 0.05
    return float(np.std(means, ddof=2) / np.sqrt(means.size))


def _sample(pixels: Pixels, x: Array, y: Array) -> Array | None:
    """Linear light at picture points, by cubic interpolation; None when mostly outside."""
    height, width = pixels.shape[:2]
    outside = (x < 1) | (y < 1) | (x > width - 1) | (y > height - 1)
    if outside.mean() > 0.5:
        return None
    left, right = max(0, int(x.min()) - 3), min(width, int(x.max()) + 4)
    top, bottom = max(0, int(y.min()) - 3), min(height, int(y.max()) + 4)
    out = np.empty((*x.shape, 3), np.float32)
    # Bands of the picture keep a slanted edge of a large scan small in memory.
    for first in range(0, len(x), 512):
        rows = slice(first, min(first + 512, len(x)))
        a, b = max(left, int(x[rows].min()) - 3), min(right, int(x[rows].max()) + 4)
        c, d = max(top, int(y[rows].min()) - 3), min(bottom, int(y[rows].max()) + 4)
        if a >= b or c >= d:
            out[rows] = 0.0
            continue
        out[rows] = cv2.remap(
            light_of(pixels[c:d, a:b]),
            (x[rows] - a - 0.5).astype(np.float32),
            (y[rows] - c - 0.5).astype(np.float32),
            cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return out.astype(np.float64)
