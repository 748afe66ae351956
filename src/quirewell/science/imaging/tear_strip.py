"""An edge of a leaf laid out straight, with what speaks for a thin line of ground in it.

Rows go inward from the edge, columns along it. A sample speaks for a tear by how much it is like
the ground and unlike the paper on *both* sides of it, so that the border of a dark
picture does not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import light_of
from quirewell.science.imaging.edges import Edge, Line, Side
from quirewell.science.imaging.leaf import Leaf

Float = NDArray[np.float32]
Pixels = NDArray[np.uint8 | np.uint16]
Mask = NDArray[np.bool_]

DEEPEST_MM = 60.0
# Evidence: share of ground in a line over that on both its sides, less this; at this share a
# pixel counts fully. Found on planted tears.
_LEAST = 0.10
_FULL = 0.22
_NOISE_SD = 3.0
ENTRY_MM = 0.6
_WIDTHS_MM = (0.25, 0.45, 0.8, 1.3)
_NARROW_MM = 0.5
_MOUTH_MM = 1.2
# No tears are looked for so near to another edge, and to a fold with its staples.
_CORNER_MM = 2.0
_FOLD_MM = 8.0
_FINEST_MM = 0.08
_MARGIN_MM = 6.0
# Mean evidence a tear needs along its way; more among print: strokes are many, a tear is whole.
_PRINT_MM = 3.0
_PRINT_SHARE = 0.03
NEEDED = 0.3
_NEEDED_IN_PRINT = 0.6
_VEILED = 0.45
_VEILED_LOSS = 0.15
_PICTURE_SHARE = 0.25
_NEEDED_IN_PICTURE = 0.85
# Gaps of 1.2 pixels were found in all planted leaves, narrower ones in most.
_GAP_PX = 1.2
_LUMA = np.array([0.2126729, 0.7151522, 0.0721750], dtype=np.float32)


@dataclass(frozen=True, slots=True)
class EdgeStrip:
    """An edge laid out straight: rows go inward, columns along it, ``step_mm`` apart."""

    side: Side
    share: Float
    evidence: Float
    entry: Mask
    needed: Float
    x_px: Float
    y_px: Float
    step_mm: float
    first_row: int
    smallest_gap_mm: float
    light: bool
    from_mm: float


def lay_out(pixels: Pixels, leaf: Leaf, side: Side, edge: Edge, px_mm: float) -> EdgeStrip | None:
    step_mm = max(px_mm, _FINEST_MM)
    start, stop = _reach(leaf, side, px_mm)
    wide = _span_mm(leaf, side, px_mm)
    columns = int((stop - start) * px_mm / step_mm)
    first_row = round(1.5 / step_mm)
    rows = first_row + int(min(DEEPEST_MM, 0.5 * wide) / step_mm)
    if columns * step_mm < 10.0 or rows <= 2 * first_row:
        return None
    x, y = _grid(leaf, side, edge, start, columns, rows, first_row, step_mm / px_mm)
    luma, seen = _luma(pixels, leaf, x, y)
    ground = float(np.median(luma[: max(2, first_row - round(0.5 / step_mm))]))
    share = _share_of_ground(luma, ground, step_mm)
    if share is None:
        return None
    share[_wide_ground(luma, ground, first_row, step_mm)] = 1.0
    open_ = _joined(share, first_row)
    evidence = _line_evidence(share, open_, step_mm)
    margin = evidence[first_row : first_row + round(_MARGIN_MM / step_mm)]
    noise = 1.4826 * float(np.median(np.abs(margin - np.median(margin))))
    evidence[~seen] = -1.0
    least = max(_LEAST, _NOISE_SD * noise)
    gain = np.clip((evidence - least) / _FULL, -1.0, 1.0)
    needed = _needed(share, first_row, step_mm)
    # Inside a stroke of print nothing can be seen: little speaks against a tear there.
    veiled = (share > _VEILED) & (gain < 0.0) & seen & (needed < _NEEDED_IN_PICTURE)
    gain[veiled] = (needed - _VEILED_LOSS * (1.0 - needed))[veiled]
    entry = _entries(open_, first_row, step_mm)
    gap = max(_GAP_PX * px_mm, least * math.sqrt(2 * math.pi) * edge.blur_px * px_mm)
    return EdgeStrip(
        side, share, np.asarray(gain, np.float32), entry, needed, x, y, step_mm, first_row, gap,
        leaf.on_light_ground, (start - _first(leaf, side)) * px_mm,
    )  # fmt: skip


def _reach(leaf: Leaf, side: Side, px_mm: float) -> tuple[float, float]:
    """The stretch of an edge to look at [px along it]."""
    corners = leaf.corners_px
    level = side in ("head", "foot")
    pair = {"head": (0, 1), "foot": (3, 2), "left": (0, 3), "right": (1, 2)}[side]
    start, stop = (float(corners[index][0 if level else 1]) for index in pair)
    ends: tuple[Side, Side] = ("left", "right") if level else ("head", "foot")
    off = [_FOLD_MM if end == leaf.fold else _CORNER_MM for end in ends]
    return start + off[0] / px_mm, stop - off[1] / px_mm


def _first(leaf: Leaf, side: Side) -> float:
    """Where an edge's left or upper corner lies along it [px]."""
    return float(leaf.corners_px[3 if side == "foot" else 1 if side == "right" else 0]
                 [0 if side in ("head", "foot") else 1])  # fmt: skip


def _span_mm(leaf: Leaf, side: Side, px_mm: float) -> float:
    spans = np.ptp(leaf.corners_px, axis=0) * px_mm
    return float(spans[1] if side in ("head", "foot") else spans[0])


def _grid(
    leaf: Leaf,
    side: Side,
    edge: Edge,
    start: float,
    columns: int,
    rows: int,
    first_row: int,
    step: float,
) -> tuple[Float, Float]:
    """Picture coordinates of the strip's samples [px]."""
    line: Line = leaf.limits[side]
    norm = math.hypot(1.0, line.slope)
    along = start + step * np.arange(columns) / norm
    across = line.at(along)
    if edge.curve is not None and side not in leaf.pointed:
        across = across + edge.curve.at(along)
    depth = step * (np.arange(rows) - first_row + 0.5)
    sign = 1.0 if side in ("head", "left") else -1.0
    run = across[None, :] + sign * depth[:, None] / norm
    aside = along[None, :] - sign * line.slope * depth[:, None] / norm
    x, y = (aside, run) if line.level else (run, aside)
    return x.astype(np.float32), y.astype(np.float32)


def _luma(pixels: Pixels, leaf: Leaf, x: Float, y: Float) -> tuple[Float, Mask]:
    """Light at the strip's samples, and which of them lie in the picture and are not hidden."""
    height, width = pixels.shape[:2]
    x0, x1 = max(0, int(x.min()) - 2), min(width, int(x.max()) + 3)
    y0, y1 = max(0, int(y.min()) - 2), min(height, int(y.max()) + 3)
    part = light_of(pixels[y0:y1, x0:x1]) @ _LUMA
    found = cv2.remap(part, x - np.float32(x0 + 0.5), y - np.float32(y0 + 0.5), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    seen = (x > 1) & (y > 1) & (x < width - 1) & (y < height - 1)
    hidden, factor = leaf.region.hidden, leaf.region.factor
    if hidden.any():
        rows = np.clip((y / factor).astype(int), 0, hidden.shape[0] - 1)
        across = np.clip((x / factor).astype(int), 0, hidden.shape[1] - 1)
        seen &= ~hidden[rows, across]
    return np.asarray(found, np.float32), np.asarray(seen)


def _share_of_ground(luma: Float, ground: float, step_mm: float) -> Float | None:
    """How far each sample lies from the paper about it towards the ground [0..1]."""
    paper = _paper_level(luma, step_mm)
    way = paper - np.float32(ground)
    typical = float(np.median(way))
    if abs(typical) < 0.02:
        return None
    floor = 0.3 * abs(typical)
    way = np.where(np.abs(way) < floor, np.float32(math.copysign(floor, typical)), way)
    return np.asarray((paper - luma) / way, np.float32)


def _wide_ground(luma: Float, ground: float, first_row: int, step_mm: float) -> Mask:
    """Chips and lost corners: too wide for the level of the paper about them to be local."""
    paper = float(np.quantile(luma[first_row:], 0.7))
    like = (np.abs(luma - ground) < 0.4 * abs(paper - ground)).astype(np.uint8)
    like[:first_row] = 1
    wide = max(3, round(_MOUTH_MM / step_mm) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    opened = np.asarray(cv2.morphologyEx(like, cv2.MORPH_OPEN, kernel), np.uint8)
    opened[:first_row] = 1
    _, labels = cv2.connectedComponents(opened, connectivity=8)
    found = (labels == labels[0, 0]).astype(np.uint8)
    return np.asarray(cv2.dilate(found, np.ones((3, 3), np.uint8))) > 0


def _paper_level(luma: Float, step_mm: float) -> Float:
    """Median over about 3 mm: thin lines leave it as it is."""
    reduce = max(1, round(0.3 / step_mm))
    size = max(8, luma.shape[1] // reduce), max(8, luma.shape[0] // reduce)
    small = np.sqrt(np.clip(cv2.resize(luma, size, interpolation=cv2.INTER_AREA), 0.0, 1.0))
    levels = np.asarray(255.0 * small + 0.5, np.uint8)
    side = max(3, round(3.0 / (reduce * step_mm)) | 1)
    middle = cv2.medianBlur(levels, side).astype(np.float32) / 255.0
    smooth = cv2.GaussianBlur(middle, (0, 0), side / 4) ** 2
    return np.asarray(cv2.resize(smooth, (luma.shape[1], luma.shape[0])), np.float32)


def _line_evidence(share: Float, open_: Mask, step_mm: float) -> Float:
    """By how much a sample is more like the ground than both its sides, at the best width.

    Only where the ground itself is open as far as the edge may the line be wide.
    """
    smooth = cv2.GaussianBlur(share, (0, 0), 0.8)
    best = np.full(share.shape, -1.0, np.float32)
    for width in _WIDTHS_MM:
        if width > _NARROW_MM:
            smooth = np.where(open_, smooth, np.float32(-1.0))
        away = max(2, round(width / step_mm))
        padded = np.pad(smooth, ((0, 0), (away, away)), mode="edge")
        sides = np.maximum(padded[:, : -2 * away], padded[:, 2 * away :])
        np.maximum(best, smooth - sides, out=best)
    return best


def _needed(share: Float, first_row: int, step_mm: float) -> Float:
    """Mean evidence a tear needs about each sample: more among print, most in a dark picture."""
    dark = (share > 0.25).astype(np.uint8)
    dark[:first_row] = 1
    _, labels = cv2.connectedComponents(dark, connectivity=8)
    apart = ((dark > 0) & (labels != labels[0, 0])).astype(np.float32)
    side = max(3, round(_PRINT_MM / step_mm) | 1)
    needed = np.full(share.shape, NEEDED, np.float32)
    needed[cv2.blur(apart, (side, side)) > _PRINT_SHARE] = _NEEDED_IN_PRINT
    dark[:first_row] = 0
    needed[cv2.blur(dark.astype(np.float32), (side, side)) > _PICTURE_SHARE] = _NEEDED_IN_PICTURE
    return needed


def _joined(share: Float, first_row: int) -> Mask:
    """Ground that hangs together with the ground outside the edge."""
    ground = (share > 0.5).astype(np.uint8)
    ground[:first_row] = 1
    _, labels = cv2.connectedComponents(ground, connectivity=8)
    return np.asarray(labels == labels[0, 0])


def _entries(open_: Mask, first_row: int, step_mm: float) -> Mask:
    """Where a tear may begin: just inside the edge, or at the rim of a chip or a wide mouth."""
    joined = open_.astype(np.uint8)
    wide = max(3, round(_MOUTH_MM / step_mm) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    opened = np.asarray(cv2.morphologyEx(joined, cv2.MORPH_OPEN, kernel), np.uint8)
    opened[:first_row] = 1
    # Solid print that a tear runs into is no wide mouth.
    _, labels = cv2.connectedComponents(opened, connectivity=8)
    opened = np.asarray(labels == labels[0, 0], np.uint8)
    reach = 2 * max(1, round(ENTRY_MM / step_mm)) + 1
    return np.asarray(cv2.dilate(opened, np.ones((reach, reach), np.uint8))) > 0
