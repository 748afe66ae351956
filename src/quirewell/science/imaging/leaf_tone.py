"""Paper tone of a leaf: which tiles count, and how far each lies from the leaf's outer edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.paper_tone import ToneSummary, ToneTiles, summarise, tone_tiles
from quirewell.science.colour.spaces import linear_from_lab
from quirewell.science.colour.yellowness import yellowness_of_light
from quirewell.science.imaging.edges import SIDES
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.loss import distances

Pixels = NDArray[np.uint8 | np.uint16]
TILE_MM = 2.0


@dataclass(frozen=True, slots=True)
class LeafTone:
    """Tiles and summary of a leaf's paper tone, with its yellowness (E313, D65, 2 degrees)."""

    tiles: ToneTiles
    summary: ToneSummary
    yellowness: float
    on_leaf: int = 0


def leaf_tone(pixels: Pixels, leaf: Leaf, px_mm: float) -> LeafTone | None:
    """Tone of bare paper inside the outline; None when too little of it is bare."""
    side = max(6, round(TILE_MM / px_mm))
    rows, columns = pixels.shape[0] // side, pixels.shape[1] // side
    x = ((np.arange(columns) + 0.5) * side)[None, :]
    y = ((np.arange(rows) + 0.5) * side)[:, None]
    away = distances({name: leaf.limits[name] for name in SIDES}, x, y)
    inside = np.minimum.reduce(list(away.values())) > 0.5 * side + 0.4 / px_mm
    inside &= _on_paper(leaf, rows, columns, side)
    outer = [away[name] for name in leaf.edges if name != leaf.fold]
    far = np.full((rows, columns), np.inf)
    from_edge = np.minimum.reduce(outer) * px_mm if outer else far
    across = away["left"] / (away["left"] + away["right"])
    down = away["head"] / (away["head"] + away["foot"])
    middle = (np.abs(across - 0.5) < 0.25) & (np.abs(down - 0.5) < 0.25)
    tiles = tone_tiles(pixels, side, inside)
    summary = summarise(tiles, from_edge, middle)
    if summary is None:
        return None
    light = linear_from_lab(np.array(summary.median))
    return LeafTone(tiles, summary, float(yellowness_of_light(light)), int(inside.sum()))


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
