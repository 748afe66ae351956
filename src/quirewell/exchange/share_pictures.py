"""Pictures that leave: made anew from the originals, pixels only, one in memory at a time.

A page's two scans come at one scale, the second laid on the first where they were compared; a
photograph comes as it is. Nothing is brightened, sharpened or matched in colour.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from quirewell.exchange.share_plan import Shot
from quirewell.record.finding import Run
from quirewell.record.nouns import ItemState
from quirewell.report.plates import jpeg, make_plate, photograph, points_of

LONGEST_PX = 1600
_PRINT_MM, _MM = 100.0, 25.4
# Made before the size is cut, so that the longest side of a page decides.
_TALL = 1.6
Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Made:
    """The pictures of one shot on the disk, and their scale (None for photographs)."""

    shot: Shot
    number: str
    before: Path | None
    after: Path | None
    mm_per_px: float | None
    laid: bool

    @property
    def files(self) -> tuple[tuple[str, Path], ...]:
        """("before", path) and ("after", path), as far as there are any."""
        both = (("before", self.before), ("after", self.after))
        return tuple((moment, path) for moment, path in both if path is not None)


def make_pictures(
    shot: Shot,
    number: str,
    state: ItemState,
    path_of: Callable[[str], Path],
    folder: Path,
    longest_px: int = LONGEST_PX,
) -> Made:
    """Write ``NN-before.jpg`` and ``NN-after.jpg`` into ``folder``."""
    mm_per_px, laid = None, False
    if shot.result is not None:
        dpi = _dpi(shot, longest_px)
        plate = make_plate(shot.result, state, path_of, _PRINT_MM, dpi=dpi)
        before, after = (plate.before, plate.after) if plate is not None else (None, None)
        if plate is not None:
            mm_per_px, laid = plate.per * _MM / dpi, plate.registered
    else:
        before, after = (
            None if one is None else photograph(one, path_of, longest_px)
            for one in (shot.before, shot.after)
        )
    return Made(
        shot, number, _write(folder / f"{number}-before.jpg", before),
        _write(folder / f"{number}-after.jpg", after), mm_per_px, laid,
    )  # fmt: skip


def _write(path: Path, data: bytes | None) -> Path | None:
    if data is None:
        return None
    path.write_bytes(data)
    return path


def _dpi(shot: Shot, longest_px: int) -> float:
    """Resolution in print at which the plate is no larger than asked and no finer than a scan."""
    assert shot.result is not None
    limits = [longest_px / _TALL / _PRINT_MM * _MM]
    for run in (shot.result.before, shot.result.after):
        width_px = _paper_px(run)
        if width_px:
            limits.append(width_px / _PRINT_MM * _MM)
    return min(limits)


def _paper_px(run: Run | None) -> float:
    points = points_of(run.drawing.get("outline", "")) if run is not None else np.empty((0, 2))
    return float(np.ptp(points[:, 0])) if len(points) >= 3 else 0.0


def opened(path: Path) -> Pixels:
    """Pixels (H, W, 3) uint8 of a JPEG of ours."""
    with Image.open(io.BytesIO(path.read_bytes())) as image:
        return np.asarray(image.convert("RGB"), dtype=np.uint8)


def smaller(path: Path, longest_px: int, quality: int = 80) -> bytes:
    """A picture of ours as JPEG, its longest side at most ``longest_px``."""
    pixels = opened(path)
    height, width = pixels.shape[:2]
    shrink = min(1.0, longest_px / max(height, width))
    size = (max(1, round(width * shrink)), max(1, round(height * shrink)))
    return jpeg(
        np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8), quality
    )
