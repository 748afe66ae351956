"""What workers are asked to do, by dotted name: plain arguments in, plain results out."""

from __future__ import annotations

import io
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from quirewell.stages.matching import keep_marks
from quirewell.studio.image_header import ImageHeader
from quirewell.studio.images import (
    PREVIEW_QUALITY,
    as_eight_bit,
    decode_limits,
    header_limited,
    load_picture,
)
from quirewell.studio.tiles import make_tiles

PREVIEW_SIZES_PX = (420, 1400)


def previews_of(derived: Path, sha256: str) -> dict[str, int]:
    """Where the previews of an original go, and the longer side [px] of each."""
    return {str(derived / "previews" / f"{sha256}-{size}.jpg"): size for size in PREVIEW_SIZES_PX}


LOOK_THROUGH = "quirewell.stages.tasks.look_through"


@dataclass(frozen=True, slots=True)
class Looked:
    """A picture that was decoded whole: its header, and the name of its colour profile."""

    header: ImageHeader
    profile: str


def look_through(path: str, previews: Mapping[str, int], marks: str = "") -> Looked:
    """Read a picture's header, decode it whole, write its previews and, where a path is given,
    what its page is known by (see :mod:`quirewell.stages.matching`).

    All within a budget of memory and of processor time, set by what the header says. A server
    asks a limited worker for it (``runner.limited``).

    Raises:
        ImageError: in a sentence, when it is damaged or no picture.
    """
    header = header_limited(path)
    with decode_limits(header):
        pixels = as_eight_bit(load_picture(Path(path)).pixels)
    small = np.ascontiguousarray(pixels)
    for name, size in sorted(previews.items(), key=lambda entry: -entry[1]):
        small = _shrunk(small, size)
        target = Path(name)
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f"{target.name}.{os.getpid()}.part")
        Image.fromarray(small).save(part, "JPEG", quality=PREVIEW_QUALITY)
        part.replace(target)
    if marks:
        grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
        keep_marks(np.asarray(grey, np.uint8), Path(marks))
    return Looked(header, profile_name(header.profile))


def _shrunk(pixels: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    """The picture with its longer side at most ``size`` [px], each pixel the mean of its area."""
    height, width = pixels.shape[:2]
    share = size / max(height, width)
    if share >= 1:
        return pixels
    wanted = max(1, round(width * share)), max(1, round(height * share))
    return np.asarray(cv2.resize(pixels, wanted, interpolation=cv2.INTER_AREA), np.uint8)


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
