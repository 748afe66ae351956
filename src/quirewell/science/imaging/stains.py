"""Stains, foxing and tidelines: where paper is browner than its surroundings ask for.

The tone of the paper is fitted over the leaf (a level, a fall towards the outer edges, a slow
drift) from tiles of bare paper, robustly, so that stains do not pull it. A stain is where what
is left is darker *and* yellower than that by more than the unevenness of the paper: print is
darker but less yellow, so that it does not pass for a stain; red to yellow print is told by its
chroma; brown print may pass.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.maps import lab_map
from quirewell.science.colour.paper_tone import BROWNING, COLOURED, ToneTiles
from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.loss import inward

Array = NDArray[np.float64]
Float = NDArray[np.float32]
Mask = NDArray[np.bool_]
Pixels = NDArray[np.uint8 | np.uint16]

SMALLEST_MM2 = 0.3
CELL_MM = 0.2
# A stain shows from so many robust deviations on, and from so many units of L* and b* (assumed:
# less is the mottle of the pulp itself).
SIGMAS = 4.0
GROWN_SIGMAS = 2.5
LEAST_L = 2.0
LEAST_B = 1.8
# Foxing: compact spots up to this size (common practice, no source).
SPOT_MM2 = 20.0
_COMPACT = 0.35
_SMOOTH_MM = 0.5
_FROM_EDGE_MM = 2.0
_INK_RIM_MM = 0.8
_DECAYS_MM = (4.0, 7.0, 11.0, 16.0, 24.0)
_MOST_DRAWN = 400
_WEAKER = 0.8
_HALF = 0.45
_PEAK_CELLS = 5.0
_TIDE_MM = 25.0
_TIDE_WIDE_MM = 6.0
_TIDE_TURNS = 1.5


@dataclass(frozen=True, slots=True)
class Stain:
    """One stain: its area [mm2], how much darker and yellower it is on the mean, what it looks
    like ("spot", "tideline", "stain") and its rim in pixels of the picture (n, 2)."""

    area_mm2: float
    dL: float
    db: float
    kind: str
    rim_px: Array


@dataclass(frozen=True, slots=True)
class Stains:
    """Stains of a leaf.

    ``area_pct`` is their share of the paper looked at (``looked_mm2``; print hides the rest) with
    the part of its uncertainty that the threshold makes; ``least_L``, ``least_b`` are the faintest
    that would have been seen.
    """

    area_pct: float
    u_threshold_pct: float
    looked_mm2: float
    least_L: float
    least_b: float
    found: tuple[Stain, ...]
    coloured_print: bool

    @property
    def spots(self) -> int:
        """Number of small compact spots (foxing)."""
        return sum(stain.kind == "spot" for stain in self.found)

    @property
    def tidelines(self) -> int:
        """Number of tidelines."""
        return sum(stain.kind == "tideline" for stain in self.found)


def find_stains(
    pixels: Pixels,
    leaf: Leaf,
    tiles: ToneTiles,
    px_mm: float,
    correct: Callable[[Array], Array] | None = None,
) -> Stains | None:
    """Look for stains on the paper of a leaf; None when too little bare paper is known.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding
    tiles
        tone of bare paper in tiles
    px_mm
        size of a pixel [mm]
    correct
        how the tiles' CIELAB was corrected by a colour target
    """
    model = _fitted(leaf, tiles, px_mm)
    if model is None:
        return None
    grid = _Grid.over(pixels, leaf, px_mm)
    if grid is None:
        return None
    lab = grid.lab if correct is None else correct(grid.lab.astype(np.float64)).astype(np.float32)
    bare = model.at(leaf, grid, px_mm)
    rest = lab - bare
    grid = replace(grid, paper=grid.paper & ~_inked(lab, bare, grid.cell_mm))
    paper = grid.paper & ~_ink(rest)
    if paper.sum() * grid.cell_mm**2 < 100.0:
        return None
    smooth = _smoothed(rest, grid)
    browning, spread = _browning(smooth, paper)
    mask, lower, higher = (
        _stained(browning, smooth, grid.paper, change) for change in (1.0, _WEAKER, 1.0 / _WEAKER)
    )
    found, kept = _stains(mask, smooth, grid)
    looked = paper | kept
    share = 100.0 / max(1, int(looked.sum()))
    spread_pct = share * 0.5 * abs(int(_large(lower, grid).sum()) - int(_large(higher, grid).sum()))
    least = [max(low, SIGMAS * sd / math.sqrt(2.0)) for low, sd in zip((LEAST_L, LEAST_B), spread,
             strict=True)]  # fmt: skip
    return Stains(
        share * float((kept & looked).sum()), spread_pct, float(looked.sum()) * grid.cell_mm**2,
        least[0], least[1], found, _coloured(rest, grid.paper),
    )  # fmt: skip


def _inked(lab: Float, bare: Float, cell_mm: float) -> Mask:
    """Cells of coloured ink, and those close by: more chroma than browning gives at their
    lightness (see :mod:`quirewell.science.colour.paper_tone`), so that no stain is sought there."""
    over = _level(lab) - _level(bare) > COLOURED
    reach = max(1, round(_INK_RIM_MM / cell_mm))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    opened = cv2.morphologyEx(over.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return np.asarray(cv2.dilate(opened, disc) > 0)


def _level(lab: Float) -> Float:
    return np.asarray(
        lab[..., 0] + BROWNING * np.hypot(lab[..., 1], lab[..., 2]) / (lab[..., 0] + 16.0)
    )


@dataclass(frozen=True, slots=True)
class _Grid:
    """The leaf on a grid of cells: CIELAB, which cells are paper (or print on it), and places."""

    lab: Float
    paper: Mask
    cell_mm: float
    scale: float

    @staticmethod
    def over(pixels: Pixels, leaf: Leaf, px_mm: float) -> _Grid | None:
        scale = max(1.0, CELL_MM / px_mm)
        size = round(pixels.shape[1] / scale), round(pixels.shape[0] / scale)
        light = np.empty((size[1], size[0], 3), np.float32)
        band = max(1, round(256 * scale))
        # Light is averaged band by band, so that a large scan stays small in memory.
        rows = np.linspace(0, pixels.shape[0], max(1, pixels.shape[0] // band) + 1).astype(int)
        cuts = np.round(rows / pixels.shape[0] * size[1]).astype(int)
        for a, b, c, d in zip(rows[:-1], rows[1:], cuts[:-1], cuts[1:], strict=True):
            if d > c:
                light[c:d] = cv2.resize(
                    light_of(pixels[a:b]), (size[0], d - c), interpolation=cv2.INTER_AREA
                )
        x, y = _places(size, pixels.shape)
        away = np.minimum.reduce(list(inward(leaf, x[None, :], y[:, None]).values()))
        region = leaf.region
        at_y = np.minimum((y / region.factor).astype(int), region.leaf.shape[0] - 1)
        at_x = np.minimum((x / region.factor).astype(int), region.leaf.shape[1] - 1)
        paper = region.leaf[np.ix_(at_y, at_x)] & (away * px_mm > _FROM_EDGE_MM)
        if not paper.any():
            return None
        return _Grid(lab_map(light), np.asarray(paper), px_mm * scale, scale)


def _places(size: tuple[int, int], shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Middles of the cells [px]."""
    x = (np.arange(size[0]) + 0.5) * shape[1] / size[0]
    y = (np.arange(size[1]) + 0.5) * shape[0] / size[1]
    return x, y


@dataclass(frozen=True, slots=True)
class _Model:
    """Tone of unstained paper: coefficients (terms, 3) of level, slow drift and fall to edges."""

    coefficients: Array
    decay_mm: float
    middle_px: tuple[float, float]
    half_px: float

    def at(self, leaf: Leaf, grid: _Grid, px_mm: float) -> Float:
        rows, columns = grid.paper.shape
        step = 8
        x = (np.arange(0, columns + step, step) + 0.5) * grid.scale
        y = (np.arange(0, rows + step, step) + 0.5) * grid.scale
        terms = _terms(leaf, x[None, :], y[:, None], px_mm, self)
        coarse = np.tensordot(terms, self.coefficients, axes=([2], [0])).astype(np.float32)
        at_x = np.tile((np.arange(columns, dtype=np.float32) / step)[None, :], (rows, 1))
        at_y = np.tile((np.arange(rows, dtype=np.float32) / step)[:, None], (1, columns))
        return np.asarray(cv2.remap(coarse, at_x, at_y, cv2.INTER_LINEAR), np.float32)


def _terms(leaf: Leaf, x: Array, y: Array, px_mm: float, model: _Model) -> Array:
    """What the tone of the paper is made of, at places [px] (rows, columns, terms)."""
    away = inward(leaf, x, y)
    shape = np.broadcast_shapes(x.shape, y.shape)
    u = np.broadcast_to((x - model.middle_px[0]) / model.half_px, shape)
    v = np.broadcast_to((y - model.middle_px[1]) / model.half_px, shape)
    falls = [
        np.exp(-np.maximum(np.broadcast_to(away[side], shape), 0.0) * px_mm / model.decay_mm)
        for side in leaf.edges
        if side != leaf.fold
    ]
    drift = [np.ones(shape), u, v, u * v, u**2, v**2]
    return np.stack([*drift, *falls], axis=-1)


def _fitted(leaf: Leaf, tiles: ToneTiles, px_mm: float) -> _Model | None:
    """The model whose decay leaves the least, by weights that fall to nothing for stains."""
    bare = tiles.bare
    if bare.sum() < 30:
        return None
    x, y = tiles.centres_px()
    corners = leaf.corners_px
    middle = corners.mean(axis=0)
    half = 0.5 * float(np.ptp(corners, axis=0).max())
    values = tiles.lab[bare]
    best: tuple[float, _Model] | None = None
    for decay in _DECAYS_MM:
        model = _Model(np.zeros((0, 3)), decay, (float(middle[0]), float(middle[1])), half)
        terms = _terms(leaf, x[None, :], y[:, None], px_mm, model)[bare]
        found, left = _robust_fit(terms, values)
        if best is None or left < best[0]:
            best = (left, _Model(found, decay, model.middle_px, half))
    return best[1] if best else None


def _robust_fit(terms: Array, values: Array) -> tuple[Array, float]:
    """Bisquare fit of all three coordinates with common weights; the robust rest of L* and b*."""
    weight = np.ones(len(values))
    ridge = 1e-3 * np.eye(terms.shape[1]) * len(values) / 100.0
    ridge[0, 0] = 0.0
    found = np.zeros((terms.shape[1], 3))
    spread = np.ones(3)
    for _ in range(12):
        weighted = terms * weight[:, None]
        found[:] = np.linalg.solve(weighted.T @ terms + ridge, weighted.T @ values)
        rest = values - terms @ found
        spread[:] = np.maximum(1.4826 * np.median(np.abs(rest), axis=0), 0.15)
        far = np.hypot(rest[:, 0] / spread[0], rest[:, 2] / spread[2]) / (4.0 * math.sqrt(2.0))
        weight[:] = np.maximum(1.0 - far**2, 0.0) ** 2 + 1e-6
    return np.asarray(found), float(spread[0] + spread[2])


def _ink(rest: Float) -> Mask:
    """Cells much darker than the paper without being yellower, and what lies beside them."""
    dark = (rest[..., 0] < -4.0) & (rest[..., 2] < 0.35 * -rest[..., 0])
    return np.asarray(cv2.dilate(dark.astype(np.uint8), np.ones((5, 5), np.uint8))) > 0


def _coloured(rest: Float, paper: Mask) -> bool:
    """Whether print in colour covers more than a hundredth of the leaf."""
    strong = (np.hypot(rest[..., 1], rest[..., 2]) > 22.0) & paper
    return bool(strong.sum() > 0.01 * paper.sum())


def _smoothed(rest: Float, grid: _Grid) -> Float:
    """The rest averaged over about half a millimetre, ink and ground left out."""
    keep = (grid.paper & ~_ink(rest)).astype(np.float32)
    sigma = max(0.6, _SMOOTH_MM / grid.cell_mm)
    weight = cv2.GaussianBlur(keep, (0, 0), sigma)
    mean = cv2.GaussianBlur(rest * keep[..., None], (0, 0), sigma)
    out = mean / np.maximum(weight, 1e-3)[..., None]
    out[weight < 0.15] = 0.0
    return np.asarray(out, np.float32)


def _browning(smooth: Float, paper: Mask) -> tuple[Float, tuple[float, float]]:
    """Browning of each cell in robust standard deviations of the paper, and those of L* and b*
    that make it up (each as large as it counts)."""
    values = smooth[paper][::7]
    middle = np.median(values, axis=0)
    sd = np.maximum(1.4826 * np.median(np.abs(values - middle), axis=0), (0.2, 0.1, 0.1))
    darker = -(smooth[..., 0] - middle[0]) / sd[0]
    yellower = (smooth[..., 2] - middle[2]) / sd[2]
    both = (darker + yellower) / np.float32(math.sqrt(2.0))
    own = max(0.3, 1.4826 * float(np.median(np.abs(both[paper][::7]))))
    return np.asarray(both / own, np.float32), (own * float(sd[0]), own * float(sd[2]))


def _stained(browning: Float, smooth: Float, paper: Mask, change: float) -> Mask:
    """Cells that are browner than the paper, grown from those that surely are."""
    both = (smooth[..., 0] < -0.5 * LEAST_L) & (smooth[..., 2] > 0.5 * LEAST_B) & paper
    # Towards unstained paper a stain ends where half of its own strength is left.
    reach = 2 * max(1, round(_PEAK_CELLS)) + 1
    peak = cv2.dilate(np.where(paper, browning, 0.0).astype(np.float32), np.ones((reach, reach)))
    wide = both & (browning > change * GROWN_SIGMAS) & (browning > _HALF * change * peak)
    sure = wide & (browning > change * SIGMAS)
    sure &= (smooth[..., 0] < -LEAST_L) & (smooth[..., 2] > LEAST_B)
    _, labels = cv2.connectedComponents(wide.astype(np.uint8))
    keep = np.zeros(int(labels.max()) + 1, bool)
    keep[np.unique(labels[sure])] = True
    keep[0] = False
    return np.asarray(keep[labels])


def _large(mask: Mask, grid: _Grid) -> Mask:
    """The parts of a mask that are large enough to count."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    keep = stats[:, cv2.CC_STAT_AREA] * grid.cell_mm**2 >= SMALLEST_MM2
    keep[0] = False
    return np.asarray(keep[labels]) if count > 1 else np.zeros_like(mask)


def _stains(mask: Mask, smooth: Float, grid: _Grid) -> tuple[tuple[Stain, ...], Mask]:
    kept = _large(mask, grid)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(kept.astype(np.uint8))
    found = []
    for label in range(1, count):
        x, y, wide, tall = (int(v) for v in stats[label, :4])
        part = labels[y : y + tall, x : x + wide] == label
        values = smooth[y : y + tall, x : x + wide][part]
        area = float(part.sum()) * grid.cell_mm**2
        padded = np.pad(part.astype(np.uint8), 1)
        rings, _ = cv2.findContours(padded, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        ring = max(rings, key=len).reshape(-1, 2) + np.array([x - 1, y - 1])
        simple = cv2.approxPolyDP(ring[:, None].astype(np.int32), 0.8, True).reshape(-1, 2)
        rim = (simple + 0.5) * grid.scale
        kind = _kind(part, padded, area, grid.cell_mm)
        found.append(
            Stain(area, float(-values[:, 0].mean()), float(values[:, 2].mean()), kind, rim)
        )
    found.sort(key=lambda stain: -stain.area_mm2)
    return tuple(found[:_MOST_DRAWN]), kept


def _kind(part: Mask, padded: NDArray[np.uint8], area: float, cell_mm: float) -> str:
    """Spot, tideline or stain by shape: a tideline is long and narrow, a spot small and round."""
    depth = float(cv2.distanceTransform(padded, cv2.DIST_L2, 3).max()) * cell_mm
    spans = np.array(part.shape) * cell_mm
    points = np.argwhere(part)[:, ::-1].astype(np.float32)
    _, (wide, tall), _ = cv2.minAreaRect(points)
    extent = max(wide, tall, 1.0) * cell_mm
    # Area over width is the length of a line; a blotch or a hatching is "longer" than it reaches.
    if (
        2.0 * depth <= _TIDE_WIDE_MM
        and extent >= _TIDE_MM
        and area / (1.6 * depth) <= _TIDE_TURNS * extent
    ):
        return "tideline"
    if area <= SPOT_MM2 and area >= _COMPACT * float(spans.max()) ** 2 * math.pi / 4.0:
        return "spot"
    return "stain"
