"""Tiny digital negatives, made on the spot: a mosaic with the tags that a reader needs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import tifffile

BLACK, WHITE = 256, 16383
# XYZ (D65) to linear sRGB, IEC 61966-2-1: a camera whose primaries are sRGB's.
_TO_CAMERA = (
    3.2404542, -1.5371385, -0.4985314, -0.9692660, 1.8760108, 0.0415560, 0.0556434, -0.2040259,
    1.0572252,
)  # fmt: skip
LEVELS = (0.02, 0.05, 0.1, 0.2, 0.4, 0.8)


def stripes(gains: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> np.ndarray:
    """Neutral stripes of known light seen by a sensor with these gains, as an RGGB mosaic."""
    light = np.repeat(np.repeat(np.array(LEVELS), 20)[None, :], 96, axis=0)
    gain = np.empty_like(light)
    gain[0::2, 0::2], gain[1::2, 1::2] = gains[0], gains[2]
    gain[0::2, 1::2] = gain[1::2, 0::2] = gains[1]
    return np.asarray(np.round(BLACK + light * gain * (WHITE - BLACK)), np.uint16)


def write_raw(
    path: Path,
    mosaic: np.ndarray,
    neutral: tuple[float, float, float] = (1.0, 1.0, 1.0),
    turn: int = 1,
) -> Path:
    """A digital negative; ``neutral`` is what its camera saw a white as."""

    def shares(values: tuple[float, ...]) -> tuple[int, ...]:
        return sum(((round(value * 1_000_000), 1_000_000) for value in values), ())

    tags = [
        (50706, 1, 4, (1, 4, 0, 0), True), (50707, 1, 4, (1, 1, 0, 0), True),
        (50708, 2, None, "Larkmoor C1", True), (33421, 3, 2, (2, 2), True),
        (33422, 1, 4, (0, 1, 1, 2), True), (50714, 4, 1, BLACK, True),
        (50717, 4, 1, WHITE, True), (50721, 10, 9, shares(_TO_CAMERA), True),
        (50728, 5, 3, shares(neutral), True), (50778, 3, 1, 21, True),
        (271, 2, None, "Larkmoor", True), (272, 2, None, "C1", True), (274, 3, 1, turn, True),
    ]  # fmt: skip
    tifffile.imwrite(
        path, mosaic, photometric=32803, extratags=tags, metadata=None, subfiletype=0,
        planarconfig=1,
    )  # fmt: skip
    return path
