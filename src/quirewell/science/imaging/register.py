"""Registration of a leaf before and after treatment.

Coarse features, then tiles from coarse to fine (:mod:`.tiles`), then a smoothness test among
neighbours, then a robust affine (:mod:`.strain`). A high correlation alone is never believed:
a halftone correlates just as well one dot further on, and only the neighbours show it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Affine, CoarseMatch, Grey, Mask, Reason, coarse_match
from quirewell.science.imaging.strain import AffineFit, fit_affine
from quirewell.science.imaging.tiles import (
    Field,
    TileGrid,
    TileShifts,
    shift_tiles,
    spread,
    tile_grid,
)

Turn = Literal["upright", "quarter turn", "upside down"]

_LEVEL_PX = 1300
_FINEST_PX = 4000
_LEAST_TILES = 24
_LEAST_SHARE = 0.35
_LEAST_ZNCC = 0.5
_WORST_SD_PX = 0.3
# Neighbours of a true match agree to a tenth of a pixel; tiles that found nothing scatter
# over the whole search range. Where only one corner of the page agrees, less is believed.
_WORST_SPREAD_PX = (0.25, 0.1)
_LEAST_REACH = 0.4


@dataclass(frozen=True, slots=True)
class Registration:
    """A leaf found again.

    ``fit`` holds the affine from before to after in pixels of the pictures given; ``points``
    and ``found`` are the trusted tile centres before and after [px] (n, 2); ``scatter_px`` is
    the rms disagreement of neighbours, ``residual_px`` the rms distance from the affine (it
    holds real bending of sheet and scanner); ``share`` [0..1] is the part of the printed tiles
    that agreed; ``bend`` the smooth departure from the affine [px], one value a tile of
    ``grid``, which was laid over the before picture made ``shrink`` times smaller.
    """

    fit: AffineFit
    points: Field
    found: Field
    scatter_px: float
    residual_px: float
    share: float
    turn: Turn
    grid: TileGrid
    bend: tuple[Field, Field]
    shrink: float = 1.0

    def after_at(self, xs: Field, ys: Field) -> tuple[Field, Field]:
        """Where the lattice ``ys`` x ``xs`` [px before] lies in the after picture [px]."""
        level_x, level_y = (xs + 0.5) / self.shrink - 0.5, (ys + 0.5) / self.shrink - 0.5
        planes = [
            row[0] * xs[None, :]
            + row[1] * ys[:, None]
            + row[2]
            + spread(part, self.grid, level_x, level_y)
            for row, part in zip(self.fit.affine, self.bend, strict=True)
        ]
        return planes[0], planes[1]


@dataclass(frozen=True, slots=True)
class NoRegistration:
    """The leaf was not found again, and why."""

    reason: Reason | Literal["too little agrees"]
    inliers: int
    share: float = 0.0

    @property
    def says(self) -> str:
        """The reason in a sentence for the person at the bench."""
        return _SENTENCES[self.reason]


_SENTENCES = {
    "blank before": "The first picture has too little print or texture to match by: a blank leaf "
    "cannot be registered, only its size can be compared.",
    "blank after": "The second picture has too little print or texture to match by: a blank leaf "
    "cannot be registered, only its size can be compared.",
    "no agreement": "Nothing in the two pictures agrees: they may be two leaves, or the two sides "
    "of one leaf, or hold nothing but an even tint. Check the file names.",
    "mirrored": "One picture is the mirror image of the other: it was flipped by a program, or "
    "print of the other side shows through. Save the scan again without flipping it.",
    "too little agrees": "Only a small part of the two pictures agrees: a running head or a frame "
    "may be alike on two different pages. Check the file names.",
}


def register(
    before: NDArray[np.generic],
    after: NDArray[np.generic],
    before_mask: Mask | None = None,
    after_mask: Mask | None = None,
) -> Registration | NoRegistration:
    """Register two grey pictures (2-D, 0..255, uint8 or float32) of one printed leaf.

    Masks are true on paper. Pictures finer than about 4000 px are measured at 4000 px, which
    is all that a sheet's strain can use; coordinates stay those of the pictures given.

    Raises:
        ValueError: when a picture is not two-dimensional or smaller than 64 px.
    """
    for name, picture in (("before", before), ("after", after)):
        if picture.ndim != 2 or min(picture.shape) < 64:
            raise ValueError(
                f"the {name} picture must be grey and at least 64 px on its short side, got "
                f"shape {picture.shape}"
            )
    first, second = before.astype(np.float32), after.astype(np.float32)
    coarse = coarse_match(first, second, before_mask, after_mask)
    if coarse.affine is None:
        return NoRegistration(coarse.reason or "no agreement", coarse.inliers)
    return _refine(first, second, coarse, before_mask, after_mask)


@dataclass(frozen=True, slots=True)
class _Level:
    before: Grey
    after: Grey
    before_mask: NDArray[np.uint8] | None
    after_mask: NDArray[np.uint8] | None
    up_before: Affine
    up_after: Affine


def _refine(
    first: Grey, second: Grey, coarse: CoarseMatch, mask1: Mask | None, mask2: Mask | None
) -> Registration | NoRegistration:
    assert coarse.affine is not None
    affine = coarse.affine
    bend: tuple[Field, Field] | None = None
    grid: TileGrid | None = None
    for shrink, last in _shrinks(first.shape):
        level = _level(first, second, mask1, mask2, shrink)
        here = _into_level(affine, level)
        new_grid = tile_grid(level.before.shape, _side(level.before.shape))
        bend, grid = _move_bend(bend, grid, new_grid), new_grid
        for _ in range(4 if last else 3):
            tiles = shift_tiles(
                level.before, level.after, here, grid, bend, level.before_mask, level.after_mask
            )
            good = trusted_tiles(tiles)
            if int(good.sum()) < _LEAST_TILES:
                return NoRegistration("too little agrees", coarse.inliers, _share(tiles, good))
            here, bend = _update(tiles, good)
        affine = _out_of_level(here, level)
        if last and bend is not None:
            return _conclude(tiles, good, level, grid, bend, coarse)
    raise AssertionError("there is always a last level")


def _shrinks(shape: tuple[int, ...]) -> list[tuple[float, bool]]:
    finest = max(1.0, max(shape) / _FINEST_PX)
    shrinks = [finest]
    while max(shape) / shrinks[-1] > _LEVEL_PX * 1.5:
        shrinks.append(shrinks[-1] * 2)
    return [(shrink, shrink == finest) for shrink in reversed(shrinks)]


def _side(shape: tuple[int, ...]) -> int:
    """Tile side [px]: about 36 tiles along the longer side, from 24 to 96 px."""
    return int(np.clip(round(max(shape) / 36 / 8) * 8, 24, 96))


def _level(
    first: Grey, second: Grey, mask1: Mask | None, mask2: Mask | None, shrink: float
) -> _Level:
    before, up1 = _shrunk(first, shrink)
    after, up2 = _shrunk(second, shrink)
    return _Level(
        before, after, _shrunk_mask(mask1, before.shape), _shrunk_mask(mask2, after.shape), up1, up2
    )


def _shrunk(picture: Grey, shrink: float) -> tuple[Grey, Affine]:
    if shrink == 1.0:
        return picture, np.array([[1.0, 0, 0], [0, 1.0, 0]])
    height, width = picture.shape
    size = (round(width / shrink), round(height / shrink))
    fx, fy = width / size[0], height / size[1]
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    return small, np.array([[fx, 0, 0.5 * fx - 0.5], [0, fy, 0.5 * fy - 0.5]])


def _shrunk_mask(mask: Mask | None, shape: tuple[int, ...]) -> NDArray[np.uint8] | None:
    if mask is None:
        return None
    plain = mask.astype(np.uint8) * 255
    if mask.shape != shape:
        small = cv2.resize(plain, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
        plain = np.asarray(small, dtype=np.uint8)
    out: NDArray[np.uint8] = (plain > 250).astype(np.uint8) * 255
    return out


def _square(affine: Affine) -> Affine:
    return np.vstack([affine, [0.0, 0.0, 1.0]])


def _into_level(affine: Affine, level: _Level) -> Affine:
    out: Affine = (
        np.linalg.inv(_square(level.up_after)) @ _square(affine) @ _square(level.up_before)
    )[:2]
    return out


def _out_of_level(affine: Affine, level: _Level) -> Affine:
    out: Affine = (
        _square(level.up_after) @ _square(affine) @ np.linalg.inv(_square(level.up_before))
    )[:2]
    return out


def _move_bend(
    bend: tuple[Field, Field] | None, grid: TileGrid | None, new_grid: TileGrid
) -> tuple[Field, Field] | None:
    """Carry the bend from the coarser level's tiles (half the pixels) to the finer ones."""
    if bend is None or grid is None:
        return None
    x, y = new_grid.centres
    at_x = ((x + 0.5) / 2 - 0.5 - grid.left - (grid.side - 1) / 2) / grid.side
    at_y = ((y + 0.5) / 2 - 0.5 - grid.top - (grid.side - 1) / 2) / grid.side
    moved = [
        cv2.remap(
            part.astype(np.float32),
            at_x.astype(np.float32),
            at_y.astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ).astype(np.float64)
        * 2.0
        for part in bend
    ]
    return moved[0], moved[1]


def trusted_tiles(tiles: TileShifts) -> NDArray[np.bool_]:
    """Tiles on paper that correlate, are sharp enough and agree with their neighbours."""
    good = (
        (tiles.cover > 0.98)
        & (tiles.zncc > _LEAST_ZNCC)
        & (tiles.sd < _WORST_SD_PX)
        & (np.hypot(tiles.dx, tiles.dy) < 1.5)
    )
    for _ in range(2):
        if int(good.sum()) < 6:
            return good
        off = _from_neighbours(tiles, good)
        spread = max(float(np.median(off[good])) / 1.1774, 0.01)
        good = good & (off < np.clip(4.0 * spread, 0.05, 0.6))
    return good


def _from_neighbours(tiles: TileShifts, good: NDArray[np.bool_]) -> Field:
    """Distance [px] of each tile from the affine-free median of its 5 x 5 good neighbours."""
    rough = _plain_affine(tiles, good)
    rest = [
        np.where(good, tiles.ax - _apply(rough[0], tiles), np.nan),
        np.where(good, tiles.ay - _apply(rough[1], tiles), np.nan),
    ]
    off = np.zeros_like(tiles.ax)
    for part in rest:
        padded = np.pad(part, 2, constant_values=np.nan)
        window = np.lib.stride_tricks.sliding_window_view(padded, (5, 5)).reshape(*part.shape, 25)
        filled = np.where(np.isnan(window), np.inf, window)
        count = np.isfinite(filled).sum(axis=-1)
        ordered = np.sort(filled, axis=-1)
        low = np.take_along_axis(ordered, np.maximum((count - 1) // 2, 0)[..., None], -1)[..., 0]
        high = np.take_along_axis(ordered, np.clip(count // 2, 0, 24)[..., None], -1)[..., 0]
        middle = 0.5 * (low + high)
        lonely = (count < 4) | ~np.isfinite(middle)
        off = np.hypot(
            off, np.where(lonely | np.isnan(part), 1e3, part - np.where(lonely, 0, middle))
        )
    return off


def _plain_affine(tiles: TileShifts, good: NDArray[np.bool_]) -> Affine:
    design = np.column_stack([tiles.x[good], tiles.y[good], np.ones(int(good.sum()))])
    target = np.column_stack([tiles.ax[good], tiles.ay[good]])
    return np.asarray(np.linalg.lstsq(design, target, rcond=None)[0].T, dtype=np.float64)


def _apply(row: Field, tiles: TileShifts) -> Field:
    out: Field = row[0] * tiles.x + row[1] * tiles.y + row[2]
    return out


def _update(tiles: TileShifts, good: NDArray[np.bool_]) -> tuple[Affine, tuple[Field, Field]]:
    """New affine, and the smooth bend that is left (fading to none far from any tile)."""
    affine = _robust(tiles, good).affine
    smooth = []
    weight = cv2.GaussianBlur(good.astype(np.float64), (0, 0), 1.2)
    for row, found in zip(affine, (tiles.ax, tiles.ay), strict=True):
        rest = np.where(good, found - _apply(row, tiles), 0.0)
        smooth.append(cv2.GaussianBlur(rest, (0, 0), 1.2) / (weight + 0.05))
    return affine, (smooth[0], smooth[1])


def _robust(tiles: TileShifts, good: NDArray[np.bool_]) -> AffineFit:
    source = np.column_stack([tiles.x[good], tiles.y[good]])
    return fit_affine(source, np.column_stack([tiles.ax[good], tiles.ay[good]]))


def _share(tiles: TileShifts, good: NDArray[np.bool_]) -> float:
    printed = (tiles.cover > 0.98) & (tiles.contrast > 6.0)
    total = int((printed | good).sum())
    return float((good).sum() / total) if total else 0.0


def _conclude(
    tiles: TileShifts,
    good: NDArray[np.bool_],
    level: _Level,
    grid: TileGrid,
    bend: tuple[Field, Field],
    coarse: CoarseMatch,
) -> Registration | NoRegistration:
    share = _share(tiles, good)
    off = _from_neighbours(tiles, good)[good]
    worst = _WORST_SPREAD_PX[coarse.reach < _LEAST_REACH]
    if share < _LEAST_SHARE or float(np.median(off)) / 1.1774 > worst:
        return NoRegistration("too little agrees", coarse.inliers, share)
    points = _map(level.up_before, np.column_stack([tiles.x[good], tiles.y[good]]))
    found = _map(level.up_after, np.column_stack([tiles.ax[good], tiles.ay[good]]))
    fit = fit_affine(points, found)
    close = off < 100.0
    size = np.hypot(fit.residuals[:, 0], fit.residuals[:, 1])
    kept = fit.weights > 0
    up = level.up_after
    return Registration(
        fit,
        points,
        found,
        float(np.sqrt(np.mean(off[close] ** 2))) * level.up_after[0, 0]
        if np.any(close)
        else float("nan"),
        float(np.sqrt(np.mean(size[kept] ** 2))),
        share,
        _turn(fit.affine),
        grid,
        (bend[0] * up[0, 0], bend[1] * up[1, 1]),
        up[0, 0],
    )


def _map(affine: Affine, points: Field) -> Field:
    out: Field = points @ affine[:, :2].T + affine[:, 2]
    return out


def _turn(affine: Affine) -> Turn:
    angle = abs(np.degrees(np.arctan2(affine[1, 0], affine[0, 0])))
    if angle > 135:
        return "upside down"
    return "quarter turn" if angle > 45 else "upright"
