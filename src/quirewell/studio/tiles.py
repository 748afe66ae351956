"""Deep-zoom tiles of a picture as plain files, in the static layout of IIIF Image 3 level 0.

Open standard: IIIF Image API 3.0, section 5 and the implementation notes on static files. A
web server that serves the folder as it is, with ``id`` in ``info.json`` set to the folder's
address, is enough for a viewer.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from quirewell.studio.images import as_eight_bit, load_picture

TILE_QUALITY = 85


def make_tiles(
    path: Path, directory: Path, tile_px: int = 512, base: str = "", whole: bool = False
) -> Path:
    """Cut a picture into tiles at every halving and write ``info.json`` last, whole or not at all.

    Parameters
    ----------
    tile_px
        side of a tile [px]
    base
        address under which the folder will be served (the ``id`` in ``info.json``)
    whole
        also write the whole picture at full size in one file (``full/max``), which the standard
        asks of level 0 and which a deep zoom has no use for

    Returns
    -------
    Path
        of ``info.json``; when it exists the tiles are complete

    Raises
    ------
    quirewell.studio.images.ImageError
        when the file is no picture
    """
    pixels = as_eight_bit(load_picture(path).pixels)
    full = pixels.shape[1], pixels.shape[0]
    factors = scale_factors(*full, tile_px)
    if whole and len(factors) > 1:
        _save(pixels, directory / "full" / "max" / "0")
    for factor in factors:
        size = -(-full[0] // factor), -(-full[1] // factor)
        if factor > 1:
            pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
        _write_level(pixels, directory, full, factor, tile_px)
    info = directory / "info.json"
    part = directory / "info.json.part"
    text = json.dumps(image_info(*full, tile_px, base), indent=1)
    part.write_text(text, encoding="utf-8")
    part.replace(info)
    return info


def scale_factors(width: int, height: int, tile_px: int) -> list[int]:
    """1, 2, 4 .. until the whole picture fits one tile."""
    factors = [1]
    while max(-(-width // factors[-1]), -(-height // factors[-1])) > tile_px:
        factors.append(2 * factors[-1])
    return factors


def image_info(width: int, height: int, tile_px: int, base: str) -> dict[str, Any]:
    """The ``info.json`` of a picture of ``width`` x ``height`` pixels.

    ``sizes`` names the whole picture at the sizes that are there (section 5.3 of the standard: each
    can be asked for as ``full/w,h``): the smallest level, which one tile holds. A picture that is
    one tile has none but ``full/max``, which every picture has.
    """
    factors = scale_factors(width, height, tile_px)
    small = factors[-1]
    info: dict[str, Any] = {
        "@context": "http://iiif.io/api/image/3/context.json",
        "id": base,
        "type": "ImageService3",
        "protocol": "http://iiif.io/api/image",
        "profile": "level0",
        "width": width,
        "height": height,
        "tiles": [{"width": tile_px, "height": tile_px, "scaleFactors": factors}],
    }
    if small > 1:
        info["sizes"] = [{"width": -(-width // small), "height": -(-height // small)}]
    return info


def _write_level(
    pixels: NDArray[np.uint8], directory: Path, full: tuple[int, int], factor: int, tile_px: int
) -> None:
    for y in range(0, pixels.shape[0], tile_px):
        for x in range(0, pixels.shape[1], tile_px):
            tile = pixels[y : y + tile_px, x : x + tile_px]
            region, size = _names(x, y, tile.shape, full, factor, tile_px)
            _save(tile, directory / region / size / "0")


def _save(pixels: NDArray[np.uint8], place: Path) -> None:
    place.mkdir(parents=True, exist_ok=True)
    picture = Image.fromarray(np.ascontiguousarray(pixels))
    picture.save(place / "default.jpg", "JPEG", quality=TILE_QUALITY)


def _names(
    x: int, y: int, shape: tuple[int, ...], full: tuple[int, int], factor: int, tile_px: int
) -> tuple[str, str]:
    """Region and size of a tile in the form the standard calls canonical."""
    left, top = x * factor, y * factor
    wide, tall = min(tile_px * factor, full[0] - left), min(tile_px * factor, full[1] - top)
    whole = (left, top, wide, tall) == (0, 0, *full)
    size = f"{shape[1]},{shape[0]}"
    if whole and factor == 1:
        return "full", "max"
    return ("full" if whole else f"{left},{top},{wide},{tall}"), size
