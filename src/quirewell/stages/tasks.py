"""What workers are asked to do, by dotted name: plain arguments in, plain results out."""

from __future__ import annotations

import io
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageCms

from quirewell.studio.images import PREVIEW_QUALITY, as_eight_bit, load_picture
from quirewell.studio.tiles import make_tiles

PREVIEW_SIZES_PX = (420, 1400)


def previews_of(derived: Path, sha256: str) -> dict[str, int]:
    """Where the previews of an original go, and the longer side [px] of each."""
    return {str(derived / "previews" / f"{sha256}-{size}.jpg"): size for size in PREVIEW_SIZES_PX}


def look_through(path: str, previews: Mapping[str, int]) -> dict[str, Any]:
    """Decode a picture whole and write its previews.

    Raises:
        ImageError: in a sentence, when it is damaged.
    """
    pixels = as_eight_bit(load_picture(Path(path)).pixels)
    image = Image.fromarray(np.ascontiguousarray(pixels))
    for name, size in sorted(previews.items(), key=lambda entry: -entry[1]):
        small = image.copy()
        small.thumbnail((size, size), Image.Resampling.LANCZOS, reducing_gap=3.0)
        target = Path(name)
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f"{target.name}.{os.getpid()}.part")
        small.save(part, "JPEG", quality=PREVIEW_QUALITY)
        part.replace(target)
    return {"width_px": image.width, "height_px": image.height}


def cut_tiles(path: str, directory: str) -> str:
    """Deep-zoom tiles of a picture; nothing is done when they are there."""
    target = Path(directory)
    if not (target / "info.json").is_file():
        target.mkdir(parents=True, exist_ok=True)
        make_tiles(Path(path), target)
    return directory


def profile_name(profile: bytes | None) -> str:
    """Name a colour profile gives itself; empty for none or one that cannot be read."""
    if not profile:
        return ""
    try:
        opened = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        return ImageCms.getProfileDescription(opened).strip()[:80]
    except (OSError, ImageCms.PyCMSError, ValueError):
        return ""
