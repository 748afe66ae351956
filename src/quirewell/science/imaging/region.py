"""Which part of a picture is paper: a coarse map that later steps sharpen.

The ground behind a sheet is never assumed: it is whatever the rim of the picture shows that is
not like the paper in the middle of it (darker, or the lighter and less yellow lid of a scanner,
or of another colour). Ground and paper are then told apart by their local colours in linear
light, so that a ground that changes over the picture is followed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear, light_of

Pixels = NDArray[np.uint8 | np.uint16]
Mask = NDArray[np.bool_]
Array = NDArray[np.float64]
GroundSaid = Literal["", "dark", "light"]

_SMALL_PX = 1100
DARKER_L = 22.0
LIGHTER_L = 3.0
LESS_YELLOW = 4.0
OTHER_COLOUR = 16.0
ONE_COLOUR = 10.0
# A leaf that lies aside: what counts as a dark ground or a white lid, and the smallest leaf.
_DARK_GROUND_L = 40.0
_LID_L, _LID_B = 85.0, 6.0
_LEAST_LEAF = 0.012
_FOUR_SIDED = 0.8
# Linear light of a ground that is clipped, and how much of the rim is where a light box lies below
# (assumed).
CLIPPED, _LIT_RIM = 0.97, 0.2


@dataclass(frozen=True, slots=True)
class Region:
    """The coarse map: ``leaf`` and ``ground`` on a picture reduced by ``factor`` in each way.

    ``light`` is the reduced picture in linear light, ``paper_lab`` the tone of the paper in the
    middle. ``leaf`` is all False when no paper was found; ``ground`` is all False when no
    ground shows. ``hidden`` is what was to be left out (a strip, a hand painted out): neither.
    Where none holds there is something else (a shadow line).
    """

    leaf: Mask
    ground: Mask
    light: NDArray[np.float32]
    factor: float
    paper_lab: tuple[float, float, float]
    hidden: Mask


def find_region(
    pixels: Pixels,
    hidden: list[Array] | None = None,
    ground_said: GroundSaid = "",
    painted: Sequence[Array] = (),
) -> Region:
    """Tell paper from ground on a reduced copy of the picture.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding
    hidden
        polygons [px] of things that lie on the ground, such as the bench strip
    ground_said
        whether the ground is "dark" (darker than the paper) or "light", where that is known
    painted
        polygons [px] painted out by a person, anywhere
    """
    factor = max(1.0, max(pixels.shape[:2]) / _SMALL_PX)
    size = round(pixels.shape[1] / factor), round(pixels.shape[0] / factor)
    small = pixels
    if factor > 1.0:
        small = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), pixels.dtype)
    light = light_of(small)
    lab = lab_from_linear(light).astype(np.float32)
    strip = _hidden(small.shape[:2], hidden or [], factor)
    unseen = strip | _hidden(small.shape[:2], list(painted), factor)
    paper = _small_leaf_tone(lab, unseen) or _paper_tone(lab, unseen | _light_box(light))
    other = (_unlike_paper(lab, paper, unseen, ground_said) & ~unseen) | strip
    ground = _reaching_rim(_opened(other), strip)
    if _rim_share(ground & ~unseen) < 0.03:
        leaf = ~unseen
        return Region(leaf, np.zeros_like(leaf), light, factor, paper, unseen)
    for _ in range(2):
        ground = _sharpened(light, lab, ground, unseen, strip, paper)
    leaf = _largest(~ground & ~strip) & ~unseen
    return Region(leaf, ground & ~unseen, light, factor, paper, unseen)


def _hidden(shape: tuple[int, ...], polygons: list[Array], factor: float) -> Mask:
    mask = np.zeros(shape, np.uint8)
    for polygon in polygons:
        middle = polygon.mean(axis=0)
        grown = middle + (polygon - middle) * (1.0 + 5.0 / np.ptp(polygon, axis=0).max())
        cv2.fillPoly(mask, [np.round(grown / factor).astype(np.int32)], 255)
    if polygons:
        mask = np.asarray(cv2.dilate(mask, np.ones((5, 5), np.uint8)), np.uint8)
    return mask > 0


def _small_leaf_tone(lab: NDArray[np.float32], unseen: Mask) -> tuple[float, float, float] | None:
    """The tone of a leaf that leaves the middle of the picture to the ground; None otherwise.

    Something four-sided must lie on it that is lighter than a dark ground, or yellower than a
    white one, in which case the middle must look like the rim.
    """
    rim = np.median(_rim_of(lab)[~_rim(unseen)], axis=0) if not _rim(unseen).all() else None
    if rim is None or not (rim[0] < _DARK_GROUND_L or (rim[0] > _LID_L and rim[2] < _LID_B)):
        return None
    h, w = unseen.shape
    middle = np.median(lab[h // 3 : h - h // 3, w // 3 : w - w // 3].reshape(-1, 3), axis=0)
    dark = bool(rim[0] < _DARK_GROUND_L)
    if not dark and float(np.linalg.norm(middle - rim)) > ONE_COLOUR:
        return None
    away = lab - rim.astype(np.float32)
    other = away[..., 0] > DARKER_L if dark else (away[..., 2] > LESS_YELLOW)
    mask = (other & ~unseen).astype(np.uint8)
    closed = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8)))
    part = _largest(closed > 0)
    if part.mean() < _LEAST_LEAF or _squareness(part) < _FOUR_SIDED:
        return None
    return _lightest_tone(lab[part & ~unseen])


def _light_box(light: NDArray[np.float32]) -> Mask:
    """What is clipped white, where much of the rim is and the middle is not: a light box, which
    is never the paper, however much of the picture it fills."""
    white: Mask = np.all(light >= CLIPPED, axis=2)
    h, w = white.shape
    middle = white[h // 5 : h - h // 5, w // 5 : w - w // 5]
    if _rim_share(white) < _LIT_RIM or middle.mean() > 1.0 - _LIT_RIM:
        return np.zeros_like(white)
    return np.asarray(white)


def _squareness(part: Mask) -> float:
    """Share of the smallest turned rectangle round a part that it fills."""
    rims, _ = cv2.findContours(part.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not rims:
        return 0.0
    _, (wide, tall), _ = cv2.minAreaRect(np.concatenate(rims))
    return float(part.sum()) / max(1.0, (wide + 1.0) * (tall + 1.0))


def _paper_tone(lab: NDArray[np.float32], strip: Mask) -> tuple[float, float, float]:
    """The lightest well-filled tone of the middle of the picture."""
    h, w = strip.shape
    inner = (slice(h // 5, h - h // 5), slice(w // 5, w - w // 5))
    values = lab[inner][~strip[inner]]
    return _lightest_tone(values if values.size else lab.reshape(-1, 3))


def _lightest_tone(values: NDArray[np.float32]) -> tuple[float, float, float]:
    """The lightest well-filled tone of CIELAB values (n, 3)."""
    counts, edges = np.histogram(values[:, 0], bins=101, range=(-0.5, 100.5))
    smooth = np.convolve(counts, np.ones(5) / 5.0, "same")
    peaks = [
        at
        for at in range(2, 99)
        if smooth[at] >= 0.3 * smooth.max() and smooth[at] == smooth[at - 2 : at + 3].max()
    ]
    top = max(peaks) if peaks else int(np.argmax(smooth))
    near = values[np.abs(values[:, 0] - (edges[top] + 0.5)) <= 4.0]
    tone = np.median(near if len(near) else values, axis=0)
    return float(tone[0]), float(tone[1]), float(tone[2])


def _unlike_paper(
    lab: NDArray[np.float32], paper: tuple[float, float, float], strip: Mask, said: GroundSaid
) -> Mask:
    """What could be ground: the kind that was said, else the one most common at the rim."""
    light, a, b = (lab[..., index] - paper[index] for index in range(3))
    kinds = [
        light < -DARKER_L,
        (light > LIGHTER_L) & (b < -LESS_YELLOW),
        (np.hypot(a, b) > OTHER_COLOUR) & ~((light < 0) & (a > -2) & (b > -2)),
    ]
    if said == "light":
        kinds[1] = (light > 0.5 * LIGHTER_L) & (b < -0.5 * LESS_YELLOW) | (light > 2 * LIGHTER_L)
    shares = [_rim_share(kind & ~strip) for kind in kinds]
    best = {"dark": 0, "light": 1}.get(said, int(np.argmax(shares)))
    kind = kinds[best]
    if best == 0 or shares[best] == 0:
        return np.asarray(kind)
    # A lid or a coloured board has one colour, its shadows included; paper may be unlike both.
    rim = _rim_of(lab)[_rim(kind & ~strip)]
    usual = np.median(rim[:, 1:], axis=0)
    same = np.hypot(lab[..., 1] - usual[0], lab[..., 2] - usual[1]) < ONE_COLOUR
    return np.asarray(kind & same)


def _rim(mask: Mask) -> Mask:
    return np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])


def _rim_of(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.concatenate([lab[0], lab[-1], lab[:, 0], lab[:, -1]])


def _opened(mask: Mask) -> Mask:
    kernel = np.ones((3, 3), np.uint8)
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)) > 0


def _reaching_rim(mask: Mask, strip: Mask) -> Mask:
    """The parts of a mask that touch the rim of the picture or the strip."""
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    rim = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1], labels[strip]])
    keep = np.zeros(count, bool)
    keep[np.unique(rim)] = True
    keep[0] = False
    return np.asarray(keep[labels])


def _rim_share(mask: Mask) -> float:
    return float(_rim(mask).mean())


def _sharpened(
    light: NDArray[np.float32],
    lab: NDArray[np.float32],
    ground: Mask,
    unseen: Mask,
    strip: Mask,
    paper: tuple[float, float, float],
) -> Mask:
    """Ground again, cut half-way between the local colours of ground and paper."""
    bare = ~ground & ~unseen & (np.abs(lab[..., 0] - paper[0]) < 20.0)
    behind = _local(light, ground & ~unseen)
    before = _local(light, bare)
    way = before - behind
    share = ((light - behind) * way).sum(axis=2) / np.maximum((way**2).sum(axis=2), 1e-6)
    grown = np.asarray(cv2.dilate(ground.astype(np.uint8), np.ones((9, 9), np.uint8))) > 0
    near = (share < 0.5) & grown & (~unseen | strip)
    return _reaching_rim(near | (ground & (share < 0.5)), strip)


def _local(light: NDArray[np.float32], mask: Mask) -> NDArray[np.float32]:
    """Mean colour of the masked pixels around each pixel, taken from afar where none are near."""
    weight = mask.astype(np.float32)
    stacked = np.dstack([light * weight[..., None], weight])
    full = weight.shape[1], weight.shape[0]
    grid = max(1, full[0] // 3), max(1, full[1] // 3)
    base = cv2.resize(stacked, grid, interpolation=cv2.INTER_AREA)
    total = np.zeros_like(base)
    for sigma, share in ((2.0, 1.0), (10.0, 1e-3), (50.0, 1e-6)):
        step = max(1, int(sigma / 2))
        size = max(1, grid[0] // step), max(1, grid[1] // step)
        low = cv2.resize(base, size, interpolation=cv2.INTER_AREA)
        low = cv2.GaussianBlur(low, (0, 0), sigma / step)
        wide = cv2.resize(low, grid, interpolation=cv2.INTER_LINEAR)
        cv2.scaleAdd(wide, share, total, total)
    mean = total[..., :3] / np.maximum(total[..., 3:], 1e-12)
    return np.asarray(cv2.resize(mean, full, interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def _largest(mask: Mask) -> Mask:
    """The largest part, its holes filled."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    if count < 2:
        return np.zeros_like(mask)
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    part = (labels == best).astype(np.uint8)
    outside = np.zeros((part.shape[0] + 2, part.shape[1] + 2), np.uint8)
    outside[1:-1, 1:-1] = part
    cv2.floodFill(outside, None, (0, 0), 2)
    return np.asarray(outside[1:-1, 1:-1] != 2)
