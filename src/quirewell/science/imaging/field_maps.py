"""Pictures of a field: how far the sheet moved, and how it strained, each with its scale."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.strain_field import StrainField

Real = NDArray[np.float64]
Picture = NDArray[np.uint8]

_UNSEEN = (150, 158, 166)
_INK = (40, 40, 40)
_PAPER = (247, 244, 236)
# Even steps of lightness from paper to dark; blue for shorter, rust for longer.
_RUST = ((0.0, _PAPER), (0.5, (214, 140, 76)), (1.0, (110, 44, 36)))
_BLUE = ((0.0, _PAPER), (0.5, (110, 160, 190)), (1.0, (28, 62, 104)))
_ROUND = (1.0, 2.0, 5.0)
_SHORT_PX = 900


def displacement_picture(field: StrainField, um_per_px: float | None) -> Picture:
    """Size of the displacement (RGB), turn and shift of the leaf taken out, with arrows.

    The scale runs from none to the rounded largest value [um, or px where no scale is known].
    """
    dx, dy = field.left
    unit, factor = ("um", um_per_px) if um_per_px else ("px", 1.0)
    size = np.hypot(dx, dy) * factor
    top = round_up(float(np.max(size[field.seen], initial=0.0)))
    plane = _large(size / top, field)
    picture = _ramp(np.clip(plane, 0, 1), _RUST)
    picture[~_seen_large(field, picture.shape)] = _UNSEEN
    longer = _arrows(picture, field, dx, dy)
    words = f"how far the paper moved [{unit}]; arrows {longer:g} times as long"
    return np.vstack([picture, _legend(picture.shape[1], (0.0, top), words, _share_ramp)])


def strain_picture(field: StrainField, which: str) -> Picture:
    """Strain along the paper's width ("across") or height ("along") (RGB) [per cent].

    Blue is shorter, rust longer, paper white none; the scale is the same both ways.

    Raises:
        ValueError: when ``which`` is neither.
    """
    if which not in ("across", "along"):
        raise ValueError(f"a strain runs across or along the paper, got {which!r}")
    strain = 100 * (field.exx if which == "across" else field.eyy)
    top = round_up(float(np.max(np.abs(strain[field.seen]), initial=0.0)))
    picture = _signed_ramp(np.clip(_large(strain / top, field), -1, 1))
    picture[~_seen_large(field, picture.shape)] = _UNSEEN
    side = "width" if which == "across" else "height"
    words = f"change of length along the {side} [%]"
    return np.vstack([picture, _legend(picture.shape[1], (-top, top), words, _signed_ramp)])


def round_up(value: float) -> float:
    """The next of 1, 2, 5 times a power of ten.

    >>> round_up(0.013), round_up(370.0)
    (0.02, 500.0)
    """
    if not value > 0 or not math.isfinite(value):
        return 1.0
    base = 10.0 ** math.floor(math.log10(value))
    scaled = [step * base for step in (*_ROUND, 10.0) if step * base >= value * (1 - 1e-9)]
    return float(f"{scaled[0]:.12g}")


def _large(plane: Real, field: StrainField) -> Real:
    rows, columns = plane.shape
    grow = max(1, round(_SHORT_PX / min(rows, columns)))
    filled = np.where(field.seen, plane, 0.0).astype(np.float32)
    weight = field.seen.astype(np.float32)
    size = (columns * grow, rows * grow)
    parts = [cv2.resize(part, size, interpolation=cv2.INTER_LINEAR) for part in (filled, weight)]
    return np.asarray(parts[0] / np.maximum(parts[1], 1e-3), dtype=np.float64)


def _seen_large(field: StrainField, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    small = field.seen.astype(np.uint8)
    return np.asarray(cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST) > 0)


def _ramp(share: Real, stops: tuple[tuple[float, tuple[int, int, int]], ...]) -> Picture:
    at = [stop for stop, _ in stops]
    channels = [np.interp(share, at, [colour[k] for _, colour in stops]) for k in range(3)]
    return np.round(np.stack(channels, axis=-1)).astype(np.uint8)


def _share_ramp(share: Real) -> Picture:
    return _ramp(share, _RUST)


def _signed_ramp(share: Real) -> Picture:
    longer, shorter = _ramp(np.maximum(share, 0), _RUST), _ramp(np.maximum(-share, 0), _BLUE)
    return np.where((share >= 0)[..., None], longer, shorter).astype(np.uint8)


def _arrows(picture: Picture, field: StrainField, dx: Real, dy: Real) -> float:
    """Draw every second displacement; the factor by which they are drawn longer."""
    rows, columns = field.seen.shape
    grow_x, grow_y = picture.shape[1] / columns, picture.shape[0] / rows
    per_px = grow_x / float(field.xs[1] - field.xs[0])
    longest = float(np.max(np.hypot(dx, dy)[field.seen], initial=0.0)) * per_px
    if longest <= 0:
        return 1.0
    wanted = 1.8 * grow_x / longest
    factor = max(1.0, round_up(wanted) / (2.5 if round_up(wanted) > 1.5 * wanted else 1.0))
    for j in range(0, rows, 2):
        for i in range(0, columns, 2):
            if field.seen[j, i]:
                start = ((i + 0.5) * grow_x, (j + 0.5) * grow_y)
                end = (start[0] + factor * per_px * dx[j, i], start[1] + factor * per_px * dy[j, i])
                cv2.arrowedLine(
                    picture, _at(start), _at(end), _INK, 1, cv2.LINE_AA, shift=4, tipLength=0.25
                )
    return factor


def _at(point: tuple[float, float]) -> tuple[int, int]:
    return round(point[0] * 16), round(point[1] * 16)


def _legend(
    width: int, ends: tuple[float, float], words: str, colours: Callable[[Real], Picture]
) -> Picture:
    size = float(np.clip(width / 1000, 0.45, 1.2))
    line = round(34 * size)
    rows = np.full((4 * line, width, 3), 255, dtype=np.uint8)
    left, right = round(0.06 * width), round(0.94 * width)
    low = -1.0 if ends[0] < 0 else 0.0
    bar = colours(np.linspace(low, 1.0, right - left)[None, :])
    rows[round(0.5 * line) : round(1.2 * line), left:right] = bar
    cv2.rectangle(rows, (left, round(0.5 * line)), (right, round(1.2 * line)), (60, 60, 60), 1)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        value = ends[0] + share * (ends[1] - ends[0])
        text = f"{value:+g}" if ends[0] < 0 and value else f"{value:g}"
        wide = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, 0.7 * size, 1)[0][0]
        x = int(np.clip(left + share * (right - left) - wide / 2, 2, width - wide - 2))
        _write(rows, text, x, 2 * line, size)
    _write(rows, words, left, round(2.9 * line), size)
    box = (left, round(3.2 * line)), (left + line, round(3.75 * line))
    cv2.rectangle(rows, *box, _UNSEEN, cv2.FILLED)
    _write(rows, "not matched", left + round(1.3 * line), round(3.7 * line), size)
    return rows


def _write(rows: Picture, words: str, x: int, y: int, size: float) -> None:
    wide = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, 0.7 * size, 1)[0][0]
    fit = min(1.0, (rows.shape[1] - x - 4) / max(wide, 1))
    cv2.putText(
        rows, words, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 0.7 * size * fit, _INK, 1, cv2.LINE_AA
    )
