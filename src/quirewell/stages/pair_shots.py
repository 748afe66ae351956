"""Plain pictures of a compared pair, for pages without a script and for the sheet of all pairs:
the after picture on the before picture's grid, the difference, and small ones. Run in a worker,
one pair in memory at a time; the match that the comparison recorded is used, so nothing is
matched anew where it left one."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.difference import difference_picture
from quirewell.science.imaging.register import Registration
from quirewell.stages.pair_pictures import (
    Pair,
    difference_of,
    exposed_pair,
    lay_pair,
    light_between,
    open_pair,
    open_side,
    picture_of_difference,
    write_png,
)
from quirewell.stages.pair_tiles import drawn_match, exposed_alike, laid_after
from quirewell.studio.images import as_eight_bit

SMALL_PX = 360
_QUALITY = 82
Text = Mapping[str, str]


def open_recorded(files: Mapping[str, Path], params: Text, drawing: Text) -> Pair:
    """The pair by the match that its comparison drew; matched anew where it drew none."""
    before, after = (open_side(files[role], params, role) for role in ("before", "after"))
    size = (before.grey.shape[1], before.grey.shape[0])
    match = drawn_match(drawing, size)
    if match is None:
        return open_pair(files, params)
    # Laying needs nothing of a registration but where places lie in the after picture.
    placed = cast(Registration, match)
    return Pair(before, after, placed, exposed_pair(before, after, params.get("greys", "")))


def write_alike(
    files: Mapping[str, Path], params: Text, drawing: Text, target: Path, longest_px: int
) -> None:
    """The after picture laid on the before picture, as if exposed like it, as PNG."""
    write_png(target, laid_after(files, params, drawing, longest_px))


def write_scanned(
    files: Mapping[str, Path], params: Text, drawing: Text, target: Path, longest_px: int
) -> None:
    """The after picture laid on the before picture, as scanned, as PNG."""
    write_png(target, laid_after(files, params, drawing, longest_px, alike=False))


def write_difference(
    files: Mapping[str, Path], params: Text, drawing: Text, target: Path, longest_px: int
) -> None:
    """The picture of the difference with its key, as PNG."""
    write_png(target, picture_of_difference(open_recorded(files, params, drawing), longest_px))


def write_small(files: Mapping[str, Path], params: Text, drawing: Text, folder: Path) -> None:
    """``before.jpg``, ``after.jpg`` (as if exposed alike) and ``difference.jpg``, small."""
    folder.mkdir(parents=True, exist_ok=True)
    pair = open_recorded(files, params, drawing)
    laid = lay_pair(pair, SMALL_PX)
    after = exposed_alike(as_eight_bit(laid.after), light_between(pair), pair.exposed)
    _write_jpeg(folder / "before.jpg", as_eight_bit(laid.before))
    _write_jpeg(folder / "after.jpg", after)
    key = difference_picture(*difference_of(pair, SMALL_PX))
    _write_jpeg(folder / "difference.jpg", key[: after.shape[0]])


def _write_jpeg(target: Path, rgb: NDArray[np.uint8]) -> None:
    bgr = np.ascontiguousarray(rgb[..., ::-1])
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not done:
        raise OSError(f"{target.name} could not be written as JPEG")
    part = target.with_name(f".{target.name}.part")
    part.write_bytes(data.tobytes())
    part.replace(target)
