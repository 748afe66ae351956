"""A small picture of a surveyed scan, for people who look rather than read.

Made in the worker, where the scan is open anyway, and kept in the row: the leaf with the lines
fitted to its edges, and the area counted as missing hatched. Never more than ``MOST_BYTES``.
"""

from __future__ import annotations

import base64
import math

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.edges import SIDES
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.loss import Loss, inward

Pixels = NDArray[np.uint8 | np.uint16]
Small = NDArray[np.uint8]
LONG_PX = 288
MOST_BYTES = 12_000
MEDIA = "image/webp"
_MARGIN = 0.05
_QUALITIES = (72, 50, 30, 12)
_HATCH_PX = 5
_LINE, _UNDER, _MISSING = (255, 221, 87), (24, 24, 28), (226, 24, 128)


def small_picture(pixels: Pixels, leaf: Leaf | None, loss: Loss | None) -> str:
    """A WebP file as base64 text; "" where it cannot be made small enough.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding, 8 or 16 bit
    leaf, loss
        what was found in it: drawn, and the picture cut to the leaf; None: the whole picture
    """
    box = _box(pixels, leaf)
    x0, y0, x1, y1 = box
    factor = max(1.0, max(x1 - x0, y1 - y0) / LONG_PX)
    size = (max(1, round((x1 - x0) / factor)), max(1, round((y1 - y0) / factor)))
    small = np.asarray(cv2.resize(pixels[y0:y1, x0:x1], size, interpolation=cv2.INTER_AREA))
    levels = 256 if small.dtype == np.uint16 else 1
    seen: Small = np.ascontiguousarray(small // levels, dtype=np.uint8)
    if leaf is not None:
        _outline(seen, leaf, box)
        if loss is not None:
            _hatch(seen, _missing(leaf, loss, box, size))
    return _encoded(seen)


def _box(pixels: Pixels, leaf: Leaf | None) -> tuple[int, int, int, int]:
    """The part of the picture that is shown (x0, y0, x1, y1): the leaf with a margin."""
    high, wide = pixels.shape[:2]
    if leaf is None:
        return 0, 0, wide, high
    low, top = leaf.corners_px.min(axis=0), leaf.corners_px.max(axis=0)
    margin = _MARGIN * float((top - low).max())
    x0, y0 = (max(0, math.floor(value - margin)) for value in low)
    x1, y1 = min(wide, math.ceil(top[0] + margin)), min(high, math.ceil(top[1] + margin))
    return (x0, y0, x1, y1) if x1 - x0 > 1 and y1 - y0 > 1 else (0, 0, wide, high)


def _missing(
    leaf: Leaf, loss: Loss, box: tuple[int, int, int, int], size: tuple[int, int]
) -> NDArray[np.bool_]:
    """Where paper was counted as missing, in the small picture: ground inside the outline, within
    the boxes of the counted pieces; holes as a disc of their box."""
    x0, y0, x1, y1 = box
    x = x0 + (np.arange(size[0]) + 0.5) * (x1 - x0) / size[0]
    y = y0 + (np.arange(size[1]) + 0.5) * (y1 - y0) / size[1]
    ground, factor = leaf.region.ground, leaf.region.factor
    columns = np.minimum((x / factor).astype(int), ground.shape[1] - 1)
    rows = np.minimum((y / factor).astype(int), ground.shape[0] - 1)
    away = np.minimum.reduce(list(inward(leaf, x[None, :], y[:, None]).values()))
    open_ = ground[np.ix_(rows, columns)] & (away > 0)
    counted = np.zeros(open_.shape, bool)
    for piece in loss.pieces:
        left, head, right, foot = piece.box_px
        if piece.kind == "edge":
            within = (x >= left) & (x < right), (y >= head) & (y < foot)
            counted |= open_ & within[0][None, :] & within[1][:, None]
        else:
            radius = max(math.sqrt(piece.area_px / math.pi), (x1 - x0) / size[0])
            counted |= np.hypot(x[None, :] - (left + right) / 2, y[:, None] - (head + foot) / 2) < (
                radius
            )
    return counted


def _hatch(seen: Small, missing: NDArray[np.bool_]) -> None:
    """Slanting lines over the missing area, and its rim."""
    if not missing.any():
        return
    y, x = np.indices(missing.shape)
    seen[missing & ((x + y) % _HATCH_PX < 2)] = _MISSING
    rims, _ = cv2.findContours(missing.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(seen, rims, -1, _MISSING, 1)


def _outline(seen: Small, leaf: Leaf, box: tuple[int, int, int, int]) -> None:
    """The lines fitted to the edges that are in the picture."""
    x0, y0, x1, y1 = box
    scale = np.array([seen.shape[1] / (x1 - x0), seen.shape[0] / (y1 - y0)])
    corners = np.round(16 * ((leaf.corners_px - (x0, y0)) * scale - 0.5)).astype(int)
    ends = {"head": (0, 1), "right": (1, 2), "foot": (2, 3), "left": (3, 0)}
    for colour, thick in ((_UNDER, 3), (_LINE, 1)):
        for side in SIDES:
            if side in leaf.edges:
                a, b = (tuple(int(v) for v in corners[i]) for i in ends[side])
                cv2.line(seen, a, b, colour, thick, cv2.LINE_AA, shift=4)


def _encoded(seen: Small) -> str:
    bgr = np.ascontiguousarray(seen[..., ::-1])
    for quality in _QUALITIES:
        good, data = cv2.imencode(".webp", bgr, [cv2.IMWRITE_WEBP_QUALITY, quality])
        if good and len(data) <= MOST_BYTES:
            return base64.b64encode(data.tobytes()).decode("ascii")
    return ""
