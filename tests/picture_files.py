"""Small picture files, good and bad, made on the spot."""

from __future__ import annotations

import io
from pathlib import Path

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
