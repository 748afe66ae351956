"""Local displacement, tile by tile, to hundredths of a pixel.

The after image is brought onto the before image's grid by the present estimate; then each
square tile solves, in the least-squares sense and in one Gauss-Newton step,

    before = a * after + b + h . q ,      h = (grad before + grad after) / 2

for a gain, an offset and a shift (``lucas1981``; the averaged gradient makes the step second
order, ``benhimane2007``). Gain and offset absorb a washed, lighter paper. Warping positions
are rounded to the interpolator's own 1/32 px and their mean is kept, so that rounding cannot
bias a tile. The caller repeats from coarse to fine.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Affine, Grey

Field = NDArray[np.float64]

_STEP = 32.0
_BLUR_PX = 0.7
_BAND_PX = 512


@dataclass(frozen=True, slots=True)
class TileShifts:
    """One value a tile, on a grid (rows, columns).

    ``x``, ``y``: tile centres in the before image [px]; ``ax``, ``ay``: the same points found
    in the after image [px]; ``dx``, ``dy``: the last step in the before frame [px];
    ``zncc``: correlation of the two tiles [-1..1]; ``sd``: standard deviation of the shift
    [px] that the residual alone predicts; ``contrast``: standard deviation of the before
    tile's greys; ``cover``: share of the tile on paper in both.
    """

    x: Field
    y: Field
    ax: Field
    ay: Field
    dx: Field
    dy: Field
    zncc: Field
    sd: Field
    contrast: Field
    cover: Field


@dataclass(frozen=True, slots=True)
class TileGrid:
    """Square tiles of ``side`` px covering as much of (height, width) as whole tiles can."""

    side: int
    rows: int
    columns: int
    top: int
    left: int

    @property
    def centres(self) -> tuple[Field, Field]:
        """x and y of the tile centres [px], each (rows, columns)."""
        half = (self.side - 1) / 2
        xs = self.left + half + self.side * np.arange(self.columns)
        ys = self.top + half + self.side * np.arange(self.rows)
        gx, gy = np.meshgrid(xs, ys)
        return gx.astype(np.float64), gy.astype(np.float64)


def tile_grid(shape: tuple[int, int], side: int) -> TileGrid:
    """Centre a grid of tiles in an image of ``shape`` (height, width) [px]."""
    rows, columns = max(shape[0] // side, 1), max(shape[1] // side, 1)
    side = min(side, *shape)
    return TileGrid(
        side, rows, columns, (shape[0] - rows * side) // 2, (shape[1] - columns * side) // 2
    )


def shift_tiles(
    before: Grey,
    after: Grey,
    affine: Affine,
    grid: TileGrid,
    bend: tuple[Field, Field] | None = None,
    before_mask: NDArray[np.uint8] | None = None,
    after_mask: NDArray[np.uint8] | None = None,
) -> TileShifts:
    """One Gauss-Newton step for every tile.

    ``affine`` (2 x 3) maps before to after; ``bend`` adds a smooth displacement in the after
    image [px], one value a tile. Masks are 255 on paper.
    """
    bands = max(1, _BAND_PX // grid.side)
    parts = [
        _shift_band(
            before,
            after,
            affine,
            grid,
            bend,
            before_mask,
            after_mask,
            row,
            min(row + bands, grid.rows),
        )
        for row in range(0, grid.rows, bands)
    ]
    x, y = grid.centres
    joined = [np.vstack([part[index] for part in parts]) for index in range(8)]
    return TileShifts(x, y, *joined)


def _shift_band(
    before: Grey,
    after: Grey,
    affine: Affine,
    grid: TileGrid,
    bend: tuple[Field, Field] | None,
    before_mask: NDArray[np.uint8] | None,
    after_mask: NDArray[np.uint8] | None,
    first: int,
    last: int,
) -> list[Field]:
    side, rim = grid.side, 4
    top, bottom = grid.top + first * side, grid.top + last * side
    left, right = grid.left, grid.left + grid.columns * side
    # A rim around the band, so that blur and gradient see true neighbours.
    up, down = max(top - rim, 0), min(bottom + rim, before.shape[0])
    west, east = max(left - rim, 0), min(right + rim, before.shape[1])
    map_x, map_y = _maps(affine, grid, bend, up, down, west, east)
    here = _soften(before[up:down, west:east])
    there = _soften(_sample(after, map_x, map_y))
    inside = slice(top - up, bottom - up), slice(left - west, right - west)
    shape = (last - first, grid.columns)
    sums = _tile_means(here, there, inside, shape)
    cover = np.ones(shape)
    if before_mask is not None:
        cover = np.minimum(cover, _mean(before_mask[top:bottom, left:right], shape) / 255.0)
    edge = (
        (map_x < 1) | (map_y < 1) | (map_x > after.shape[1] - 2) | (map_y > after.shape[0] - 2)
    )[inside]
    cover = np.minimum(cover, 1.0 - _mean(edge.astype(np.float32), shape))
    if after_mask is not None:
        seen = cv2.remap(
            after_mask,
            map_x[inside],
            map_y[inside],
            cv2.INTER_NEAREST,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        cover = np.minimum(cover, _mean(seen, shape) / 255.0)
    dx, dy, zncc, sd, contrast = _solve(sums, side * side)
    at_x, at_y = _mean(map_x[inside], shape), _mean(map_y[inside], shape)
    ax = at_x + affine[0, 0] * dx + affine[0, 1] * dy
    ay = at_y + affine[1, 0] * dx + affine[1, 1] * dy
    return [ax, ay, dx, dy, zncc, sd, contrast, cover]


def _soften(picture: Grey) -> Grey:
    blurred = cv2.GaussianBlur(np.asarray(picture, dtype=np.float32), (0, 0), _BLUR_PX)
    return np.asarray(blurred, dtype=np.float32)


def _maps(
    affine: Affine,
    grid: TileGrid,
    bend: tuple[Field, Field] | None,
    up: int,
    down: int,
    west: int,
    east: int,
) -> tuple[Grey, Grey]:
    xs = np.arange(west, east, dtype=np.float64)[None, :]
    ys = np.arange(up, down, dtype=np.float64)[:, None]
    out = []
    for row, part in zip(affine, bend or (None, None), strict=True):
        plane = row[0] * xs + row[1] * ys + row[2]
        if part is not None:
            plane = plane + spread(part, grid, xs[0], ys[:, 0])
        out.append((np.round(plane * _STEP) / _STEP).astype(np.float32))
    return out[0], out[1]


def spread(field: Field, grid: TileGrid, xs: Field, ys: Field) -> Field:
    """Bilinear value of a tile field on the lattice ``ys`` x ``xs`` [px of the tiles' level].

    Beyond the outer tile centres the value stays what it is there.
    """
    half = (grid.side - 1) / 2
    across = _weights((xs - grid.left - half) / grid.side, grid.columns)
    along = _weights((ys - grid.top - half) / grid.side, grid.rows)
    out: Field = along @ field @ across.T
    return out


def _weights(at: Field, count: int) -> Field:
    at = np.clip(at, 0, count - 1)
    low = np.minimum(np.floor(at).astype(int), max(count - 2, 0))
    share = at - low
    out = np.zeros((at.size, count))
    out[np.arange(at.size), low] = 1 - share
    if count > 1:
        out[np.arange(at.size), low + 1] += share
    return out


def _sample(after: Grey, map_x: Grey, map_y: Grey) -> Grey:
    """Sample only the part of ``after`` that the band reaches, in floating point."""
    height, width = after.shape
    pad = 6
    x0 = int(np.clip(np.floor(map_x.min()) - pad, 0, width - 1))
    x1 = int(np.clip(np.ceil(map_x.max()) + pad, x0 + 1, width))
    y0 = int(np.clip(np.floor(map_y.min()) - pad, 0, height - 1))
    y1 = int(np.clip(np.ceil(map_y.max()) + pad, y0 + 1, height))
    part = after[y0:y1, x0:x1].astype(np.float32)
    out = cv2.remap(
        part,
        map_x - np.float32(x0),
        map_y - np.float32(y0),
        cv2.INTER_LANCZOS4,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(out, dtype=np.float32)


def _mean(plane: NDArray[np.generic], shape: tuple[int, int]) -> Field:
    out = cv2.resize(
        np.ascontiguousarray(plane, dtype=np.float32),
        (shape[1], shape[0]),
        interpolation=cv2.INTER_AREA,
    )
    return out.reshape(shape).astype(np.float64)


def _tile_means(
    here: Grey, there: Grey, inside: tuple[slice, slice], shape: tuple[int, int]
) -> NDArray[np.float64]:
    """Second moments (rows, columns, 5, 5) of [hx, hy, after, before, 1] in each tile."""
    both = 0.5 * (here + there)
    planes = [
        cv2.Scharr(both, cv2.CV_32F, 1, 0, scale=1 / 32)[inside],
        cv2.Scharr(both, cv2.CV_32F, 0, 1, scale=1 / 32)[inside],
        there[inside] - 128.0,
        here[inside] - 128.0,
    ]
    out = np.ones((*shape, 5, 5))
    for i, first in enumerate(planes):
        out[..., i, 4] = out[..., 4, i] = _mean(first, shape)
        for j in range(i, 4):
            out[..., i, j] = out[..., j, i] = _mean(first * planes[j], shape)
    return out


def _solve(moments: NDArray[np.float64], pixels: int) -> tuple[Field, ...]:
    """Shift (dx, dy), correlation, predicted sd and contrast from the moments of each tile."""
    centred = moments[..., :4, :4] - moments[..., :4, 4:5] * moments[..., 4:5, :4]
    left = centred[..., :3, :3] + np.eye(3) * np.array([1e-3, 1e-3, 1e-3])
    right = centred[..., :3, 3]
    solved = np.linalg.solve(left, right[..., None])[..., 0]
    gain = np.where(np.abs(solved[..., 2]) < 1e-3, 1e-3, solved[..., 2])
    factor = (1 + gain) / (2 * gain)
    var_f, var_g = centred[..., 3, 3], centred[..., 2, 2]
    residual = np.maximum(var_f - np.einsum("...i,...i", solved, right), 1e-9)
    inverse = np.linalg.inv(left)
    sd = np.sqrt(residual / pixels * np.maximum(inverse[..., 0, 0], inverse[..., 1, 1]))
    zncc = centred[..., 2, 3] / np.sqrt(np.maximum(var_f * var_g, 1e-12))
    # h is (1 + a)/2 times the after image's gradient in the before image's contrast.
    dx, dy = solved[..., 0] * factor, solved[..., 1] * factor
    return dx, dy, zncc, sd * np.abs(factor), np.sqrt(np.maximum(var_f, 0.0))
