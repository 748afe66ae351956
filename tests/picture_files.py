"""Small picture files, good and bad, made on the spot."""

from __future__ import annotations

import io
from pathlib import Path

import imagecodecs
import numpy as np
from PIL import Image


def picture_bytes(seed: int = 1, size: tuple[int, int] = (120, 160), kind: str = "PNG") -> bytes:
    """A picture of noise as a file's bytes."""
    rng = np.random.default_rng(seed)
    pixels = rng.integers(0, 255, (size[1], size[0], 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, kind, dpi=(100, 100))
    return out.getvalue()


def write_pictures(folder: Path, names: list[str]) -> Path:
    """Each name a different picture."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed, name in enumerate(names):
        kind = "PNG" if name.endswith("png") else "TIFF" if name.endswith("tif") else "JPEG"
        (folder / name).write_bytes(picture_bytes(seed, kind=kind))
    return folder


def wide_profile() -> bytes:
    """An ICC profile of primaries wider than sRGB's in green, white D65, gamma 2.2."""
    primaries = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
    made = imagecodecs.cms_profile(
        "rgb",
        whitepoint=(0.3127, 0.3290, 1.0),
        primaries=[part for xy in primaries for part in (*xy, 1.0)],
        gamma=2.2,
    )
    return bytes(made)
