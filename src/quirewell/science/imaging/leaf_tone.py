"""Paper tone of a leaf: which tiles count, and how far each lies from the leaf's outer edges.

The median over all unprinted paper is what is asked for, and print hides most of it on a dense
page: bare tiles lie in the margins, which are brown. So every tile is given a tone (its own, or
that of the paper around it with the fall towards the edges allowed for) and counts by how much
unprinted paper it holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.paper_tone import ToneSummary, ToneTiles, summarise, tone_tiles
from quirewell.science.colour.spaces import linear_from_lab
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.colour.tone_profile import Decay, filled, fit_decay, weighted_median
from quirewell.science.colour.yellowness import yellowness_of_light
from quirewell.science.imaging.bare import bare_paper
from quirewell.science.imaging.edges import SIDES
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.loss import distances

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8 | np.uint16]
TILE_MM = 2.0
_SMALL_MM = 0.2
# How far unprinted paper keeps from print and from the leaf's edges.
_FROM_INK_MM = 0.75
_FROM_EDGE_MM = 1.0


@dataclass(frozen=True, slots=True)
class LeafTone:
    """Tiles and summary of a leaf's paper tone, with its yellowness (E313, D65, 2 degrees).

    ``summary.median`` is over all unprinted paper; ``hidden`` is the share [0..1] of it whose tone
    was carried over from the paper around; ``decay`` how the tone falls towards the edges.
    """

    tiles: ToneTiles
    summary: ToneSummary
    yellowness: float
    on_leaf: int = 0
    hidden: float = 0.0
    decay: Decay | None = None


def leaf_tone(
    pixels: Pixels, leaf: Leaf, px_mm: float, target: TargetUse | None = None
) -> LeafTone | None:
    """Tone of bare paper inside the outline; None when too little of it is bare.

    With a fitted ``target`` all tones are as it has them, else as if the picture were true sRGB.
    """
    side = max(6, round(TILE_MM / px_mm))
    rows, columns = pixels.shape[0] // side, pixels.shape[1] // side
    x = ((np.arange(columns) + 0.5) * side)[None, :]
    y = ((np.arange(rows) + 0.5) * side)[:, None]
    away = distances({name: leaf.limits[name] for name in SIDES}, x, y)
    nearest = np.minimum.reduce(list(away.values()))
    inside = nearest > 0.5 * side + 0.4 / px_mm
    on_paper = _on_paper(leaf, rows, columns, side)
    inside &= on_paper
    outer = [away[name] for name in leaf.edges if name != leaf.fold]
    far = np.full((rows, columns), np.inf)
    from_edge = np.minimum.reduce(outer) * px_mm if outer else far
    across = away["left"] / (away["left"] + away["right"])
    down = away["head"] / (away["head"] + away["foot"])
    middle = (np.abs(across - 0.5) < 0.25) & (np.abs(down - 0.5) < 0.25)
    tiles = tone_tiles(pixels, side, inside)
    if target is not None:
        tiles = ToneTiles(target.correct(tiles.lab), side)
    summary = summarise(tiles, from_edge, middle)
    if summary is None:
        return None
    unprinted = _unprinted(pixels, leaf, px_mm, (rows, columns), side)
    unprinted[~inside & (nearest > side)] = 0.0
    median, hidden = _over_all(tiles.lab, from_edge, unprinted)
    summary = replace(summary, median=median)
    light = linear_from_lab(np.array(median))
    return LeafTone(
        tiles, summary, float(yellowness_of_light(light)), int(inside.sum()), hidden,
        fit_decay(from_edge, tiles.lab[..., 0], inside),
    )  # fmt: skip


def _over_all(
    lab: Array, from_edge: Array, unprinted: Array
) -> tuple[tuple[float, float, float], float]:
    """Median tone over unprinted paper, and the share of it whose tile was not itself bare."""
    counts = unprinted > 0.01
    whole = filled(lab, np.maximum(from_edge, 0.0), counts | np.isfinite(lab[..., 0]))
    if not counts.any():
        counts = np.isfinite(lab[..., 0])
        unprinted = counts.astype(np.float64)
    median = weighted_median(whole[counts], unprinted[counts])
    hidden = counts & ~np.isfinite(lab[..., 0])
    share = float(unprinted[hidden].sum() / unprinted[counts].sum())
    return (float(median[0]), float(median[1]), float(median[2])), share


def _unprinted(
    pixels: Pixels, leaf: Leaf, px_mm: float, shape: tuple[int, int], side: int
) -> Array:
    """Share [0..1] of each tile that is paper away from print and from the leaf's edges."""
    rows, columns = shape
    reduce = max(1, round(_SMALL_MM / px_mm))
    green = np.asarray(pixels[: rows * side, : columns * side, 1])
    size = (max(8, green.shape[1] // reduce), max(8, green.shape[0] // reduce))
    small = np.asarray(cv2.resize(green, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    small *= np.float32(255.0 / np.iinfo(pixels.dtype).max)
    x = ((np.arange(small.shape[1]) + 0.5) * reduce)[None, :]
    y = ((np.arange(small.shape[0]) + 0.5) * reduce)[:, None]
    away = distances({name: leaf.limits[name] for name in SIDES}, x, y)
    paper = np.minimum.reduce(list(away.values())) > _FROM_EDGE_MM / px_mm
    known, factor = leaf.region.leaf, leaf.region.factor
    at_x = np.minimum((x[0] / factor).astype(int), known.shape[1] - 1)
    at_y = np.minimum((y[:, 0] / factor).astype(int), known.shape[0] - 1)
    paper &= known[np.ix_(at_y, at_x)]
    bare = bare_paper(small, paper, _FROM_INK_MM / (px_mm * reduce)) & paper
    share = cv2.resize(bare.astype(np.float32), (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(share, dtype=np.float64)


def _on_paper(leaf: Leaf, rows: int, columns: int, side: int) -> NDArray[np.bool_]:
    """Tiles whose middle and corners lie on the coarse map's paper."""
    paper, factor = leaf.region.leaf, leaf.region.factor
    good = np.ones((rows, columns), bool)
    for dy in (0.1, 0.5, 0.9):
        for dx in (0.1, 0.5, 0.9):
            r = np.minimum(((np.arange(rows) + dy) * side / factor).astype(int), paper.shape[0] - 1)
            c = np.minimum(
                ((np.arange(columns) + dx) * side / factor).astype(int), paper.shape[1] - 1
            )
            good &= paper[np.ix_(r, c)]
    return good
