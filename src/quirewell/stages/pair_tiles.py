"""A compared pair as layers for the deep zoom: the after picture cut into tiles on the before
picture's grid, and the map of the colour difference without its legend. Run in a worker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray

from quirewell.science.colour.exposure import ExposedPair
from quirewell.science.colour.spaces import linear_from_srgb, srgb_from_linear
from quirewell.science.imaging.difference import (
    DIFFERENCE_TOP_DE00,
    difference_colours,
    warp_after_to_before,
)
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.paper_change import LightChange, light_change
from quirewell.science.imaging.strip import find_strip
from quirewell.stages.pair_pictures import (
    difference_of,
    exposed_by,
    lay_pair,
    light_between,
    open_pair,
    write_png,
)
from quirewell.studio.images import as_eight_bit, load_picture
from quirewell.studio.tiles import make_tiles

LONGEST_PX = 16_000
MAP_PX = 2000
_BEND_GRID = 48
_MOST_PLACES = 400
Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DrawnMatch:
    """Where the before picture's places lie in the after picture, as a comparison recorded it.

    ``affine`` (2 x 3) carries before to after [px]; ``bend`` (rows, columns, 2) [px] is what the
    recorded field adds to it, on an even grid over ``size`` (width, height) [px].
    """

    affine: Real
    bend: NDArray[np.float32]
    size: tuple[int, int]

    def after_at(self, xs: Real, ys: Real) -> tuple[Real, Real]:
        """Where the lattice ``ys`` x ``xs`` [px before] lies in the after picture [px]."""
        x, y = np.meshgrid(xs, ys)
        rows, columns = self.bend.shape[:2]
        at_x = (x * ((columns - 1) / max(1, self.size[0] - 1))).astype(np.float32)
        at_y = (y * ((rows - 1) / max(1, self.size[1] - 1))).astype(np.float32)
        border = cv2.BORDER_REPLICATE
        bend = cv2.remap(self.bend, at_x, at_y, cv2.INTER_CUBIC, borderMode=border)
        (a, b, c), (d, e, f) = self.affine
        return a * x + b * y + c + bend[..., 0], d * x + e * y + f + bend[..., 1]


def drawn_match(drawing: Mapping[str, str], size: tuple[int, int]) -> DrawnMatch | None:
    """The match that a comparison drew; None when it drew no field, or the leaf lay turned.

    The field was recorded in the before picture's scale; the ratio is found from the affine,
    which carries to the after picture as it is.
    """
    rows = [part.split(",") for part in drawing.get("field", "").split()]
    if len(rows) < 12 or drawing.get("turn", "upright") != "upright":
        return None
    affine = np.array(
        [
            [float(value) for value in row.split()]
            for row in drawing["before_to_after_px"].split(";")
        ]
    )
    field = np.array(rows, dtype=np.float64)
    points, moved = field[:, :2], field[:, 2:4]
    target, fitted = points + moved, points @ affine[:, :2].T + affine[:, 2]
    scale = (target * target).sum(axis=0) / (target * fitted).sum(axis=0)
    bend = target / scale - fitted
    thin = slice(None, None, -(-len(points) // _MOST_PLACES))
    smooth = scipy.interpolate.RBFInterpolator(points[thin] / max(size), bend[thin], smoothing=1e-6)
    grid = np.stack(
        np.meshgrid(
            np.linspace(0, size[0] - 1, _BEND_GRID), np.linspace(0, size[1] - 1, _BEND_GRID)
        ),
        axis=-1,
    )
    inside = np.clip(grid, points.min(axis=0), points.max(axis=0)).reshape(-1, 2) / max(size)
    planes = smooth(inside).reshape(_BEND_GRID, _BEND_GRID, 2).astype(np.float32)
    return DrawnMatch(affine, planes, size)


def write_after_tiles(
    files: Mapping[str, Path], params: Mapping[str, str], drawing: Mapping[str, str], folder: Path
) -> None:
    """Write ``after/info.json`` with its tiles into ``folder``.

    The match that the comparison recorded is used, so nothing is matched anew where it left one.
    The after picture is shown as if exposed like the before picture where the strip's grey steps
    say that it was not.

    Raises:
        ValueError: when the two could not be laid on each other, with the reason.
    """
    _write_tiles(folder, "after", laid_after(files, params, drawing, LONGEST_PX))


def write_scanned_tiles(
    files: Mapping[str, Path], params: Mapping[str, str], drawing: Mapping[str, str], folder: Path
) -> None:
    """The same as ``scanned/info.json``, the after picture as it was scanned.

    Raises:
        ValueError: when the two could not be laid on each other, with the reason.
    """
    _write_tiles(folder, "scanned", laid_after(files, params, drawing, LONGEST_PX, alike=False))


def _write_tiles(folder: Path, name: str, pixels: NDArray[np.uint8]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    whole = folder / f"{name}.png"
    write_png(whole, pixels)
    try:
        make_tiles(whole, folder / name)
    finally:
        whole.unlink(missing_ok=True)


def laid_after(
    files: Mapping[str, Path],
    params: Mapping[str, str],
    drawing: Mapping[str, str],
    longest_px: int,
    alike: bool = True,
) -> NDArray[np.uint8]:
    """The after picture on the before picture's grid, at most ``longest_px`` on the longer side;
    ``alike``: as if exposed like the before picture, else as scanned.

    Raises:
        ValueError: when the two could not be laid on each other, with the reason.
    """
    before, after = (as_eight_bit(load_picture(files[role]).pixels) for role in ("before", "after"))
    shape = before.shape[:2]
    match = drawn_match(drawing, (shape[1], shape[0]))
    if match is None:
        pair = open_pair(files, params)
        laid = as_eight_bit(lay_pair(pair, longest_px).after)
        return exposed_alike(laid, light_between(pair), pair.exposed) if alike else laid
    shrink = max(1.0, max(shape) / longest_px)
    laid = as_eight_bit(warp_after_to_before(after, match, shape, shrink).pixels)
    if not alike:
        return laid
    light, exposed = None, None
    strips = [find_strip(np.ascontiguousarray(one[..., 1])) for one in (before, after)]
    if strips[0] and strips[1]:
        light = light_change(strips[0].greys, strips[1].greys)
        sides = (before, strips[0]), (after, strips[1])
        exposed = exposed_by(sides, params.get("greys", ""))
    return exposed_alike(laid, light, exposed)


def write_difference_map(
    files: Mapping[str, Path], params: Mapping[str, str], target: Path
) -> None:
    """Write the colour difference without a legend, clear where nothing was compared.

    Raises:
        ValueError: when the two could not be laid on each other, with the reason.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    write_map(target, *difference_of(open_pair(files, params), MAP_PX))


def exposed_alike(
    after: NDArray[np.uint8], light: LightChange | None, exposed: ExposedPair | None = None
) -> NDArray[np.uint8]:
    """The after picture as it would look had it been exposed as the before picture was: by the
    strip's known greys where both scans stand against them, else by how its steps moved."""
    linear = linear_from_srgb(np.arange(256) / 255.0)
    if exposed is not None:
        wanted = exposed.light("after", linear, absolute=False)
    elif light is not None and light.differs:
        wanted = (linear - light.offset) / light.gain
    else:
        return after
    wanted = np.clip(wanted, 0.0, 1.0)
    table = np.round(255 * srgb_from_linear(wanted)).astype(np.uint8)
    return np.asarray(cv2.LUT(after, table), dtype=np.uint8)


def write_map(target: Path, difference: NDArray[np.floating], seen: Mask) -> None:
    """The colours of a difference as PNG, clear where nothing was compared."""
    share = np.clip(np.asarray(difference, np.float64) / DIFFERENCE_TOP_DE00, 0, 1)
    colours = difference_colours(share)
    clear = np.where(seen, 255, 0).astype(np.uint8)
    rgba = np.dstack([colours[..., ::-1], clear])
    done, data = cv2.imencode(".png", np.ascontiguousarray(rgba))
    if not done:
        raise OSError(f"{target.name} could not be written as PNG")
    part = target.with_name(f".{target.name}.part")
    part.write_bytes(data.tobytes())
    part.replace(target)
