"""The bench strip as it lies beside the sheet on the demo's glass and bench."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from quirewell.demo.scanner import Laid, Pose
from quirewell.demo.tone import decode
from quirewell.science.imaging.strip import (
    MARK_LEFTS_MM,
    MARK_TOP_MM,
    STRIP_HEIGHT_MM,
    STRIP_LENGTH_MM,
    draw_strip,
)

# The Larkmoor bench's printer prints a little small; a steel rule has told them so.
PRINTED_SHORT = -0.0012


@lru_cache(maxsize=2)
def _light(um_per_px: float) -> NDArray[np.float32]:
    return decode(draw_strip(um_per_px) / np.float32(255.0)).astype(np.float32)


def lay_strip(at_mm: tuple[float, float], skew_deg: float, dpi: int, error: float = 0.0) -> Laid:
    """The strip with its upper left corner at a glass point; ``error`` [-] is its printer's.

    Its marks "first" and "last" are the upper left corners of the outer marks: their distance
    is the length that a user measures.
    """
    um_per_px = 20.0 if dpi > 300 else 50.0
    true = 1.0 + error
    marks = {
        "first": (MARK_LEFTS_MM[0] * true, MARK_TOP_MM * true),
        "last": (MARK_LEFTS_MM[-1] * true, MARK_TOP_MM * true),
    }
    size = (STRIP_LENGTH_MM * true, STRIP_HEIGHT_MM * true)
    px_per_mm = 1000.0 / um_per_px / true
    return Laid(_light(um_per_px), px_per_mm, size, Pose((0.0, 0.0), at_mm, skew_deg), marks)
