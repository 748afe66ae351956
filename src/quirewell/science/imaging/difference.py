"""The after picture laid onto the before picture, and the difference of the two to look at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.match import Affine, Mask

Picture = NDArray[Any]  # (H, W, 3) uint8 or uint16
_BAND_PX = 512
# From paper white over straw and rust to near black: lightness falls evenly, so that the map
# reads in grey and with any colour vision.
_STOPS = ((0.0, (247, 244, 236)), (0.25, (236, 205, 140)), (0.5, (206, 135, 70)),
          (0.75, (140, 66, 46)), (1.0, (45, 20, 30)))  # fmt: skip
_UNSEEN = (150, 158, 166)
DIFFERENCE_TOP_DE00 = 12.0


class Placed(Protocol):
    """Whatever can say where places of the before picture lie in the after picture."""

    def after_at(
        self, xs: NDArray[np.float64], ys: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Where the lattice ``ys`` x ``xs`` [px before] lies in the after picture [px]."""
        ...


@dataclass(frozen=True, slots=True)
class Laid:
    """The after picture on the before picture's grid; ``seen`` is false where it had no pixel."""

    pixels: Picture
    seen: Mask


def warp_after_to_before(
    after: Picture,
    registration: Placed,
    shape: tuple[int, int],
    shrink: float = 1.0,
    paper: Mask | None = None,
) -> Laid:
    """Lay ``after`` (H, W, 3) onto the before picture of ``shape`` (height, width) [px].

    Bend included. With ``shrink`` above 1 the result is that much smaller (the after picture
    is averaged down first, so that nothing flickers). ``paper`` is true on the after picture's
    paper; nothing outside it counts as seen.
    """
    height, width = (max(1, round(side / shrink)) for side in shape)
    step_x, step_y = shape[1] / width, shape[0] / height
    source, scale = _reduced(after, shrink)
    size = (source.shape[1], source.shape[0])
    known = np.ones(source.shape[:2], np.uint8)
    if paper is not None:
        small = cv2.resize(paper.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        known = np.asarray(small, dtype=np.uint8)
    out = np.zeros((height, width, 3), dtype=after.dtype)
    seen = np.zeros((height, width), dtype=bool)
    xs = (np.arange(width, dtype=np.float64) + 0.5) * step_x - 0.5
    for top in range(0, height, _BAND_PX):
        bottom = min(top + _BAND_PX, height)
        ys = (np.arange(top, bottom, dtype=np.float64) + 0.5) * step_y - 0.5
        planes = registration.after_at(xs, ys)
        map_x, map_y = (
            ((plane + 0.5) / factor - 0.5).astype(np.float32)
            for plane, factor in zip(planes, scale, strict=True)
        )
        out[top:bottom] = cv2.remap(source, map_x, map_y, cv2.INTER_CUBIC)
        seen[top:bottom] = cv2.remap(known, map_x, map_y, cv2.INTER_NEAREST) > 0
    return Laid(out, seen)


def _reduced(after: Picture, shrink: float) -> tuple[Picture, tuple[float, float]]:
    if shrink <= 1.0:
        return after, (1.0, 1.0)
    height, width = after.shape[:2]
    size = (max(1, round(width / shrink)), max(1, round(height / shrink)))
    small = np.asarray(cv2.resize(after, size, interpolation=cv2.INTER_AREA), dtype=after.dtype)
    return small, (width / size[0], height / size[1])


def affine_text(affine: Affine) -> str:
    """The affine from before to after as text, two rows "a b c;d e f" [px], for a viewer."""
    return ";".join(" ".join(f"{value:.9g}" for value in row) for row in affine)


def difference_picture(
    difference: NDArray[np.floating], seen: Mask, top: float = DIFFERENCE_TOP_DE00
) -> NDArray[np.uint8]:
    """Colour a map of CIEDE2000 differences, with a legend in words below it (RGB, uint8).

    Light means no difference, dark means ``top`` or more; grey-blue was not compared.
    """
    colours = difference_colours(np.clip(np.asarray(difference, dtype=np.float64) / top, 0, 1))
    colours[~seen] = _UNSEEN
    return np.vstack([colours, _legend(colours.shape[1], top)])


def difference_colours(share: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Colour of each share [0..1] of the top of the scale (RGB), the darker the more."""
    at = np.array([stop for stop, _ in _STOPS])
    table = np.array([colour for _, colour in _STOPS], dtype=np.float64)
    ramp = np.stack(
        [np.interp(np.linspace(0, 1, 256), at, table[:, channel]) for channel in range(3)], axis=-1
    )
    return np.asarray(np.round(ramp).astype(np.uint8)[np.round(share * 255).astype(int)])


def _legend(width: int, top: float) -> NDArray[np.uint8]:
    size = float(np.clip(width / 1000, 0.35, 1.2))
    line = round(34 * size)
    rows = np.full((4 * line, width, 3), 255, dtype=np.uint8)
    left, right = round(0.04 * width), round(0.96 * width)
    bar = difference_colours(np.linspace(0, 1, right - left)[None, :])
    rows[round(0.5 * line) : round(1.2 * line), left:right] = bar
    cv2.rectangle(rows, (left, round(0.5 * line)), (right, round(1.2 * line)), (60, 60, 60), 1)
    for value in (0.0, top / 4, top / 2, 3 * top / 4, top):
        words = f"{value:g}" if value < top else f"{value:g} or more"
        wide = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, 0.7 * size, 1)[0][0]
        x = round(left + (right - left) * value / top - wide / 2)
        _write(rows, words, int(np.clip(x, left, right - wide)), 2 * line, size)
    _write(rows, "colour difference (CIEDE2000), after against before", left,
           round(2.9 * line), size)  # fmt: skip
    cv2.rectangle(
        rows, (left, round(3.2 * line)), (left + line, round(3.75 * line)), _UNSEEN, cv2.FILLED
    )
    _write(rows, "not compared", left + round(1.3 * line), round(3.7 * line), size)
    return rows


def _write(rows: NDArray[np.uint8], words: str, x: int, y: int, size: float) -> None:
    cv2.putText(
        rows, words, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 0.7 * size, (40, 40, 40), 1, cv2.LINE_AA
    )
