"""A relief as pictures to be laid over the scan: height in colour, and a shaded view.

Run in a worker. Both are clear where nothing was lit, so that the scan shows through.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.stages.pair_tiles import DrawnMatch, drawn_match
from quirewell.stages.relief_grid import LONGEST_PX
from quirewell.stages.relieving import Solved, known_part, solve

Colours = NDArray[np.uint8]
# Low to high; each is lighter than the one before, so that the order shows without colour too.
HEIGHT_STOPS = ((38, 44, 92), (44, 96, 122), (86, 146, 120), (184, 188, 112), (250, 238, 190))
NAMES = ("height", "shaded")
# Slopes of a sheet are small: drawn so much steeper that a degree shows.
_STEEPER = 4.0
_UPPER_LEFT = (-0.7, 0.7)


def height_colours(share: NDArray[np.floating]) -> Colours:
    """Colour (RGB) of each share [0..1] of the range of height, the lighter the higher."""
    at = np.linspace(0, 1, len(HEIGHT_STOPS))
    table = np.array(HEIGHT_STOPS, dtype=np.float64)
    place = np.clip(np.asarray(share, np.float64), 0, 1)
    return np.stack(
        [np.round(np.interp(place, at, table[:, channel])) for channel in range(3)], axis=-1
    ).astype(np.uint8)


def layer_pictures(solved: Solved, range_um: tuple[float, float] | None) -> dict[str, Colours]:
    """Layers by name as RGBA; height only where it was not withheld.

    ``range_um`` is what darkest and lightest stand for; None where there is no height.
    """
    if solved.slope is not None:
        return {"shaded": _rgba(_grey(solved.slope), np.ones(solved.slope.shape, dtype=bool))}
    assert solved.relief is not None and solved.normals is not None
    known = known_part(solved)
    flat = np.where(known[..., None], solved.normals, 0.0)
    lit = flat[..., 0] * _UPPER_LEFT[0] + flat[..., 1] * _UPPER_LEFT[1]
    out = {"shaded": _rgba(_grey(np.clip(0.5 + _STEEPER * lit, 0, 1)), known)}
    if solved.relief.height is not None and range_um is not None:
        low, high = range_um
        share = (1000 * solved.relief.height - low) / max(high - low, 1e-6)
        out["height"] = _rgba(height_colours(share), known)
    return out


def write_layers(
    files: Mapping[str, Path],
    params: Mapping[str, str],
    range_um: tuple[float, float] | None,
    folder: Path,
) -> None:
    """Write ``height.png`` and ``shaded.png`` of a recorded relief, whole or not at all.

    Raises:
        ImageError, ValueError: as :func:`quirewell.stages.relieving.solve`.
    """
    _write(layer_pictures(solve(files, params), range_um), folder)


def write_layers_laid(
    files: Mapping[str, Path],
    params: Mapping[str, str],
    range_um: tuple[float, float] | None,
    folder: Path,
    pair: Mapping[str, str],
) -> None:
    """Write the layers of an after relief on the before picture's grid.

    ``pair`` is what the comparison drew: sizes of both pictures and how one lies on the other.

    Raises:
        ImageError, ValueError: as :func:`quirewell.stages.relieving.solve`.
    """
    made = layer_pictures(solve(files, params), range_um)
    _write({name: laid_on_before(rgba, pair) for name, rgba in made.items()}, folder)


def laid_on_before(rgba: Colours, pair: Mapping[str, str]) -> Colours:
    """A layer on the after picture's grid, moved onto the before picture's (at most 2000 px).

    Raises:
        ValueError: when the comparison did not record the sizes of its pictures.
    """
    before, after = (_size(pair.get(f"{role}_size_px", "")) for role in ("before", "after"))
    shrink = max(1.0, max(before) / LONGEST_PX)
    width, height = round(before[0] / shrink), round(before[1] / shrink)
    xs = (np.arange(width, dtype=np.float64) + 0.5) * (before[0] / width) - 0.5
    ys = (np.arange(height, dtype=np.float64) + 0.5) * (before[1] / height) - 0.5
    x, y = (drawn_match(pair, before) or _even(pair, before)).after_at(xs, ys)
    at_x = (x + 0.5) * (rgba.shape[1] / after[0]) - 0.5
    at_y = (y + 0.5) * (rgba.shape[0] / after[1]) - 0.5
    places = at_x.astype(np.float32), at_y.astype(np.float32)
    out = np.asarray(cv2.remap(rgba, *places, cv2.INTER_LINEAR), np.uint8)
    out[..., 3] = np.where(out[..., 3] > 250, 255, 0)
    return out


def _size(text: str) -> tuple[int, int]:
    parts = text.split()
    if len(parts) != 2 or not all(part.isdigit() and int(part) for part in parts):
        raise ValueError("this comparison did not record how large its pictures are; compare again")
    return int(parts[0]), int(parts[1])


def _even(pair: Mapping[str, str], size: tuple[int, int]) -> DrawnMatch:
    """The even part of a match alone, where a comparison drew no field or the leaf lay turned."""
    rows = [[float(part) for part in row.split()] for row in pair["before_to_after_px"].split(";")]
    return DrawnMatch(np.array(rows), np.zeros((2, 2, 2), np.float32), size)


def _write(made: Mapping[str, Colours], folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, rgba in made.items():
        done, data = cv2.imencode(".png", np.ascontiguousarray(rgba[..., [2, 1, 0, 3]]))
        if not done:
            raise OSError(f"{name}.png could not be written")
        part = folder / f".{name}.part"
        part.write_bytes(data.tobytes())
        part.replace(folder / f"{name}.png")


def _grey(values: NDArray[np.floating]) -> Colours:
    grey = np.round(np.clip(values, 0, 1) * 255).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def _rgba(colours: Colours, known: NDArray[np.bool_]) -> Colours:
    return np.dstack([colours, np.where(known, 255, 0).astype(np.uint8)])
