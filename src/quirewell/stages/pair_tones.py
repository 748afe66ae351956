"""Tones of the bare paper of a registered pair: their change, the light's part of it, a map.

The same tiles are read before and after, so that what is said of the paper, of the light and of
each part of the page is said of one set of places.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.paper_tone import tone_tiles
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.imaging.bare import bare_paper
from quirewell.science.imaging.light_split import LightSplit, raw_change, split_light
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.paper_change import (
    COLOUR_SHARE,
    LIGHT_SHARE,
    TARGET_SHARE,
    UNSEEN_LIGHT_LAB,
    LightChange,
    PaperChange,
    paper_change,
)
from quirewell.stages.pair_pictures import (
    Pair,
    lay_pair,
    light_between,
    profiled,
    relight,
    to_known_greys,
)
from quirewell.studio.images import as_eight_bit

Array = NDArray[np.float64]
_TONE_PX = 2400
_TILE_MM = 1.5
_INK_MARGIN_MM = 0.5
_CELLS = 7
_LEAST_TILES = 5


@dataclass(frozen=True, slots=True)
class PaperTold:
    """What a pair says of its bare paper; ``tones`` is the map to draw, as text (see
    :func:`tones_text`)."""

    change: PaperChange | None
    light: LightChange | None
    split: LightSplit | None
    tones: str = ""


@dataclass(frozen=True, slots=True)
class _Read:
    """Tones of bare paper tile by tile as read, (rows, columns, 3) CIELAB; ``clear`` of all print;
    ``on_leaf`` counts the leaf's tiles; a tile is ``side`` pixels of the before picture wide."""

    first: Array
    second: Array
    clear: Mask
    on_leaf: int
    side: float


def compare_paper(pair: Pair, target: TargetUse | None = None) -> PaperTold:
    """Change of the bare paper's tone, how the strip's grey steps came out, and what of the change
    is the light's.

    Where the strip's own greys are known both pictures are brought to them (to the before
    picture with a fitted ``target``). Where they are not and the strip says that the two were lit
    differently, the after picture's light is brought to the before picture's. Where they differ
    by too much, there is no change to give but the raw one. With a ``target`` tones are as it has
    them.
    """
    light = light_between(pair)
    read = _read(pair)
    if light is not None and light.withheld:
        return PaperTold(None, light, raw_change(read.first, read.second, read.clear))
    tones = _alike(pair, light, read.first, read.second, target)
    if target is not None:
        tones = replace(
            tones, first=target.correct(tones.first), second=target.correct(tones.second)
        )
    change = paper_change(
        tones.first, tones.second, read.clear, profiled(pair), read.on_leaf, tones.left_over,
        tones.share, tones.tone_u_L,
    )  # fmt: skip
    split = _split(pair, light, read, tones, target)
    return PaperTold(change, light, split, tones_text(tones.first, tones.second, read.side))


def _read(pair: Pair) -> _Read:
    laid = lay_pair(pair, _TONE_PX)
    um = float(np.mean(pair.before.um_guess)) * laid.shrink
    side = max(5, round(1000 * _TILE_MM / um))
    grey = np.asarray(cv2.cvtColor(as_eight_bit(laid.before), cv2.COLOR_RGB2GRAY), np.uint8)
    bare = bare_paper(grey, laid.seen, 1000 * _INK_MARGIN_MM / um)
    on_leaf, unprinted = (_tile_share(mask, side) for mask in (laid.seen, bare))
    first, second = (
        tone_tiles(picture, side, on_leaf == 1).lab for picture in (laid.before, laid.after)
    )
    return _Read(first, second, unprinted > 0.9, int((on_leaf == 1).sum()), side * laid.shrink)


def _split(
    pair: Pair, light: LightChange | None, read: _Read, tones: _Tones, target: TargetUse | None
) -> LightSplit | None:
    """The raw change apart by what made it; the light's part only where a strip tells it."""
    if light is None:
        return raw_change(read.first, read.second, read.clear)
    told = None
    if target is not None or (pair.exposed is not None and to_known_greys(pair, target)):
        told = (tones.first, tones.second)
    relit, left, unseen = read.second, 0.0, 0.0
    if pair.exposed is not None:
        relit = pair.exposed.lab("after", read.second, absolute=False)
        middle = [float(np.nanmedian(lab[..., 0])) for lab in (read.first, read.second)]
        left = math.hypot(*pair.exposed.u_change_L(middle[0], middle[1], False))
    elif light.differs:
        relit = relight(read.second, light)
        left = float(tones.left_over[0])
    else:
        unseen = light.steps_L
    return split_light((read.first, read.second), relit, told, read.clear, left, unseen)


def tones_text(first: Array, second: Array, side: float) -> str:
    """Tones of the bare paper in at most a few by a few parts of the picture, as text.

    One group a part with at least five bare tiles: "x,y,w,h,L,a,b,L,a,b,n x,..." with its box
    [px of the before picture], medians before and after as if lit alike, and how many tiles.
    """
    both = np.isfinite(first[..., 0]) & np.isfinite(second[..., 0])
    if not both.any():
        return ""
    rows, columns = np.nonzero(both.any(axis=1))[0], np.nonzero(both.any(axis=0))[0]
    high, wide = rows[-1] + 1 - rows[0], columns[-1] + 1 - columns[0]
    down = int(np.clip(round(_CELLS * high / wide), 1, 2 * _CELLS))
    out = []
    for row in np.array_split(np.arange(rows[0], rows[-1] + 1), min(down, high)):
        for column in np.array_split(np.arange(columns[0], columns[-1] + 1), min(_CELLS, wide)):
            here = np.ix_(row, column)
            used = both[here]
            if int(used.sum()) >= _LEAST_TILES:
                box = (column[0] * side, row[0] * side, len(column) * side, len(row) * side)
                labs = [np.median(lab[here][used], axis=0) for lab in (first, second)]
                numbers = [*(f"{value:.1f}" for value in box)]
                numbers += [f"{value:.2f}" for lab in labs for value in lab]
                out.append(",".join([*numbers, str(int(used.sum()))]))
    return " ".join(out)


@dataclass(frozen=True, slots=True)
class _Tones:
    """Tones of paper before and after as if exposed alike, and what that leaves open."""

    first: Array
    second: Array
    left_over: Array
    share: float | None
    tone_u_L: float = 0.0


def _alike(
    pair: Pair, light: LightChange | None, first: Array, second: Array,
    target: TargetUse | None,
) -> _Tones:  # fmt: skip
    """Bring the tones of both pictures to one exposure, by the surest means there is."""
    share = TARGET_SHARE if target is not None else None
    if pair.exposed is not None and np.isfinite(first).any() and np.isfinite(second).any():
        whole = to_known_greys(pair, target)
        middle = [float(np.nanmedian(lab[..., 0])) for lab in (first, second)]
        own, common = pair.exposed.u_change_L(middle[0], middle[1], whole)
        lit = [
            pair.exposed.lab(role, lab, whole)
            for role, lab in (("before", first), ("after", second))
        ]
        if whole:
            share = COLOUR_SHARE
        left = np.array([own, *pair.exposed.cast])
        return _Tones(lit[0], lit[1], left, share, common)
    left_over = np.asarray(UNSEEN_LIGHT_LAB) if light is None else np.zeros(3)
    if light is not None and light.differs:
        relit = relight(second, light)
        if np.isfinite(relit[..., 0]).any():
            moved = np.nanmedian(relit - second, axis=(0, 1))
            left_over = LIGHT_SHARE * np.asarray(moved, dtype=np.float64)
        second = relit
    return _Tones(first, second, left_over, share)


def _tile_share(mask: Mask, side: int) -> Array:
    """Share [0..1] of each square tile of ``side`` px that is true."""
    rows, columns = mask.shape[0] // side, mask.shape[1] // side
    tiles = mask[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return np.asarray(tiles.mean(axis=(1, 3)), dtype=np.float64)
