"""A scale bar for a plain picture: a round length, and how much of the picture's width it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

_SHARE = 0.4


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A bar of ``mm`` that takes ``share`` [0..1] of the picture's width."""

    mm: float
    share: float

    @property
    def words(self) -> str:
        """Its length as read."""
        return f"{self.mm:g} mm"


def scale_bar(width_px: int, um_per_px: float | None) -> ScaleBar | None:
    """The longest of 1, 2 or 5 times a power of ten that takes at most two fifths of the width;
    None where no scale is known.

    >>> scale_bar(2000, 84.67).words
    '50 mm'
    """
    if not um_per_px or um_per_px <= 0 or width_px <= 0:
        return None
    wide = width_px * um_per_px / 1000
    power = 10.0 ** math.floor(math.log10(_SHARE * wide))
    mm = max(step * power for step in (1, 2, 5) if step * power <= _SHARE * wide)
    return ScaleBar(mm, mm / wide)
