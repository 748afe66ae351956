"""The paper an ink lies on: light of bare paper at every pixel, before and after, alike.

Both pictures are averaged over the same bare pixels, near ones first, so that what differs
between the two averages is the paper's change and not another choice of places.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.ink_or_paper import ink_of_light
from quirewell.science.imaging.match import Mask

Light = NDArray[np.float32]

_LUMA = np.array([0.2126729, 0.7151522, 0.0721750], dtype=np.float32)
_REACH_MM = (2.0, 8.0, 40.0)
_NEXT_WEIGHT = 1e-3
_CELLS_MM = 0.5


def all_ink(light: Light, seen: Mask) -> Mask:
    """True on ink of any hue: dark in grey, or dark in blue light (yellow and red inks)."""
    grey = np.ascontiguousarray(light @ _LUMA)
    return ink_of_light(grey, seen) | ink_of_light(np.ascontiguousarray(light[..., 2]), seen)


@dataclass(frozen=True, slots=True)
class PaperUnder:
    """Light of bare paper (rows, columns, 3) on a grid ``cell_px`` apart, before and after."""

    before: Light
    after: Light
    cell_px: float

    def at(self, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> tuple[Light, Light]:
        """Both at pixels given by row and column, (n, 3) each; the nearest grid cell counts."""
        r = np.minimum((rows / self.cell_px).astype(np.intp), self.before.shape[0] - 1)
        c = np.minimum((columns / self.cell_px).astype(np.intp), self.before.shape[1] - 1)
        return self.before[r, c], self.after[r, c]

    def spread(self, shape: tuple[int, int]) -> Light:
        """The paper before, at every pixel of a picture of ``shape`` (height, width)."""
        size = (shape[1], shape[0])
        return np.asarray(cv2.resize(self.before, size, interpolation=cv2.INTER_LINEAR), np.float32)


def paper_under(before: Light, after: Light, bare: Mask, um_per_px: float) -> PaperUnder:
    """Bare paper carried under the print, from pixels where ``bare`` is true.

    Averages over 2 mm, and over 8 and 40 mm where none is nearer (each wider ring counts a
    thousandth of the one before). ``um_per_px`` is the scale of the pictures [um].
    """
    cell = max(1.0, 1000 * _CELLS_MM / um_per_px)
    size = (max(1, round(bare.shape[1] / cell)), max(1, round(bare.shape[0] / cell)))
    weight = bare.astype(np.float32)
    one, two = (_carried(picture, weight, size) for picture in (before, after))
    return PaperUnder(one, two, bare.shape[0] / size[1])


def _carried(picture: Light, weight: Light, size: tuple[int, int]) -> Light:
    stacked = np.dstack([picture * weight[..., None], weight])
    base = np.asarray(cv2.resize(stacked, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
    total = np.zeros(base.shape, dtype=np.float64)
    for index, reach in enumerate(_REACH_MM):
        sigma = reach / _CELLS_MM
        step = max(1, int(sigma / 3))
        small = (max(1, size[0] // step), max(1, size[1] // step))
        low = cv2.resize(base, small, interpolation=cv2.INTER_AREA)
        low = cv2.GaussianBlur(low, (0, 0), sigma / step)
        wide = cv2.resize(low, size, interpolation=cv2.INTER_LINEAR)
        total += wide * _NEXT_WEIGHT**index
    mean = total[..., :3] / np.maximum(total[..., 3:], 1e-30)
    return np.asarray(mean, dtype=np.float32)
