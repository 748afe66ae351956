"""A compared pair as layers for the deep zoom: the after picture cut into tiles on the before
picture's grid, and the map of the colour difference without its legend. Run in a worker."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import linear_from_srgb, srgb_from_linear
from quirewell.science.imaging.difference import DIFFERENCE_TOP_DE00, difference_colours
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.paper_change import LightChange
from quirewell.stages.pair_pictures import (
    difference_of,
    lay_pair,
    light_between,
    open_pair,
    write_png,
)
from quirewell.studio.images import as_eight_bit
from quirewell.studio.tiles import make_tiles

LONGEST_PX = 16_000
MAP_PX = 2000


def write_pair_layers(files: Mapping[str, Path], params: Mapping[str, str], folder: Path) -> None:
    """Write ``after/info.json`` with its tiles and ``difference.png`` into ``folder``.

    The after picture is shown as if exposed like the before picture where the strip's grey
    steps say that it was not.

    Raises:
        ValueError: when the two could not be laid on each other, with the reason.
    """
    pair = open_pair(files, params)
    folder.mkdir(parents=True, exist_ok=True)
    write_map(folder / "difference.png", *difference_of(pair, MAP_PX))
    after = exposed_alike(as_eight_bit(lay_pair(pair, LONGEST_PX).after), light_between(pair))
    whole = folder / "after.png"
    write_png(whole, after)
    try:
        make_tiles(whole, folder / "after")
    finally:
        whole.unlink(missing_ok=True)


def exposed_alike(after: NDArray[np.uint8], light: LightChange | None) -> NDArray[np.uint8]:
    """The after picture as it would look had it been exposed as the before picture was."""
    if light is None or not light.differs:
        return after
    linear = linear_from_srgb(np.arange(256) / 255.0)
    wanted = np.clip((linear - light.offset) / light.gain, 0.0, 1.0)
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
