"""Which pixels of a printed page are ink: on paper of any tone, stained, unevenly lit.

The picture is divided by the light of its bare paper (:mod:`.paper_surface`). The threshold
then lies where the edges are: it is the mean tone of all pixels, each weighted by the square of
its gradient, so that paper texture and show-through, which have weak edges, hardly count. Where
the tone that parts the pixels best into two groups (``otsu1979``) is darker, it lies midway.
A light ink (yellow, pink) never falls below a threshold set by black, so wide even areas that
are a little darker than paper and end sharply are ink as well; areas that fade out are stains.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import linear_from_srgb, linear_table
from quirewell.science.imaging.match import Mask
from quirewell.science.imaging.paper_surface import paper_surface

Tone = NDArray[np.float32]

_SOFTEN_PX = 0.7
# Tones are ratios to paper raised to 1 / 2.2: near even steps to the eye, paper = 1.
_POWER = np.float32(1 / 2.2)
_PALEST = 0.82
_NOISE_SDS = 4.0
_SOLID_PX = 3
_LEAST_AREA_PX = 100
_LIGHT_TONE = 0.90
_LEAST_STEP = 0.06
_SHARP_SHARE = 0.65
_LEAST_RIM_PX = 20
_MOST_AREAS = 2000
_GROUND_TONE = 0.55
_GROUND_SHARE = 0.02
_GROUND_RIM_SHARE = 0.25


def ink_mask(grey: NDArray[np.generic], paper: Mask | None = None) -> Mask:
    """True on ink, for a grey picture (height, width) of print.

    Parameters
    ----------
    grey
        8- or 16-bit samples in sRGB encoding, or floats from 0 to 1 (from 0 to 255 where any
        exceeds 1.5), dark ink on light paper; samples that are not finite are never ink
    paper
        true on the leaf; without it all of the picture counts as leaf, and a dark ground round
        it as ink

    An even picture gives no ink. Ink of less than a tenth of a tone step from the paper, and
    pencil or show-through of the same strength as the print, cannot be told apart here.

    Raises
    ------
    ValueError
        when ``grey`` is not two-dimensional, or ``paper`` has another shape
    """
    if grey.ndim != 2 or min(grey.shape, default=0) < 1:
        raise ValueError(
            f"a grey picture has two dimensions, got an array of shape {grey.shape}; "
            "take one channel or the mean of a colour picture"
        )
    if paper is not None and paper.shape != grey.shape:
        raise ValueError(f"the mask has shape {paper.shape} and the picture {grey.shape}")
    light, good = _light(grey)
    if paper is not None:
        good = paper if good is None else good & paper
    return ink_of_light(light, good)


def ink_of_light(light: Tone, good: Mask | None) -> Mask:
    """The same for linear light [0..1]; ``good`` is true where a pixel may be ink."""
    ratio = light / np.maximum(paper_surface(light, good), np.float32(1e-4))
    if good is not None:
        ratio[~good] = 1.0
    tone = np.power(np.clip(ratio, 0, 2), _POWER)
    return _split(np.asarray(tone, dtype=np.float32), good)


def _light(grey: NDArray[np.generic]) -> tuple[Tone, Mask | None]:
    if grey.dtype in (np.uint8, np.uint16):
        return linear_table(8 * grey.dtype.itemsize)[grey.astype(grey.dtype)], None
    plain = np.asarray(grey, dtype=np.float64)
    finite = np.isfinite(plain)
    good = None if finite.all() else finite
    plain = np.where(finite, plain, 0.0)
    top = 255.0 if plain.size and plain.max() > 1.5 else 1.0
    return linear_from_srgb(np.clip(plain / top, 0, 1)).astype(np.float32), good


def _split(tone: Tone, good: Mask | None) -> Mask:
    soft = np.asarray(cv2.GaussianBlur(tone, (0, 0), _SOFTEN_PX), dtype=np.float32)
    beyond = _beyond(soft)
    ink = tone < threshold(tone, soft, beyond)
    ink |= _light_solids(tone, soft, ink)
    return np.asarray(ink if good is None else ink & good)


def _beyond(soft: Tone) -> Mask:
    """Wide dark areas at the rim of the picture, such as a dark ground, and their edges."""
    shrink = max(1, round(max(soft.shape) / 400))
    size = (max(1, soft.shape[1] // shrink), max(1, soft.shape[0] // shrink))
    small = cv2.resize(soft, size, interpolation=cv2.INTER_AREA)
    dark = cv2.morphologyEx((small < _GROUND_TONE).astype(np.uint8), cv2.MORPH_OPEN, _disc(3))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark)
    rim = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    along = np.bincount(rim, minlength=count) / rim.size
    wide = stats[:, cv2.CC_STAT_AREA] > _GROUND_SHARE * labels.size
    wide &= along > _GROUND_RIM_SHARE
    wide[0] = False
    ground = cv2.dilate(wide[labels].astype(np.uint8), _disc(3))
    full = (soft.shape[1], soft.shape[0])
    return np.asarray(cv2.resize(ground, full, interpolation=cv2.INTER_NEAREST) > 0)


def threshold(tone: Tone, soft: Tone, leave_out: Mask) -> float:
    """Tone [paper = 1] below which a pixel is ink (see the module's head)."""
    edges = edge_tone(soft, leave_out)
    levels = np.clip(tone[~leave_out] * 200, 0, 255).astype(np.uint8).reshape(-1, 1)
    if levels.size == 0:
        return edges
    groups, _ = cv2.threshold(levels, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    return 0.5 * (edges + min(float(groups) / 200, edges))


def edge_tone(soft: Tone, leave_out: Mask | None = None) -> float:
    """The tone [paper = 1] at which the edges lie: mean tone weighted by squared gradient."""
    across = cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=1 / 8)
    weight = across * across + down * down
    if leave_out is not None:
        weight[leave_out] = 0.0
    total = float(weight.sum(dtype=np.float64))
    if total <= 0:
        return _PALEST / 2
    near = soft[::3, ::3]
    near = near[np.abs(near - 1.0) < 0.2]
    noise = 1.4826 * float(np.median(np.abs(near - 1.0))) if near.size else 0.0
    middle = float((weight * soft).sum(dtype=np.float64)) / total
    return min(middle, _PALEST, max(0.3, 1.0 - _NOISE_SDS * noise))


def _disc(reach: int) -> NDArray[np.uint8]:
    shape = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(shape, dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class _Areas:
    """Even areas lighter than the ink found so far: ``labels`` (grown by 3 px), their median
    ``tones`` and which are ``kept``; entry 0 is what lies outside all of them."""

    labels: NDArray[np.int32]
    tones: Tone
    kept: Mask


def _light_solids(tone: Tone, soft: Tone, ink: Mask) -> Mask:
    """Wide even areas of a light ink: sharp at their edges, or shut in by darker ink."""
    areas = _light_areas(soft, ink)
    if areas is None:
        return np.zeros_like(ink)
    middle = 1.0 - 0.5 * (1.0 - areas.tones)
    return np.asarray(areas.kept[areas.labels] & (tone < middle[areas.labels]))


def _light_areas(soft: Tone, ink: Mask) -> _Areas | None:
    closed = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, _disc(_SOLID_PX))
    rest = (closed < _LIGHT_TONE) & (cv2.dilate(ink.astype(np.uint8), _disc(2)) == 0)
    plain = cv2.morphologyEx(rest.astype(np.uint8), cv2.MORPH_OPEN, _disc(_SOLID_PX))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(plain)
    large = [i for i in range(1, count) if stats[i, cv2.CC_STAT_AREA] >= _LEAST_AREA_PX]
    large = sorted(large, key=lambda i: -int(stats[i, cv2.CC_STAT_AREA]))[:_MOST_AREAS]
    if not large:
        return None
    new = np.zeros(count, np.int32)
    new[large] = np.arange(1, len(large) + 1)
    numbers = new[labels]
    grown = cv2.dilate(numbers.astype(np.float32), _disc(3)).astype(np.int32)
    tones = np.ones(len(large) + 1, np.float32)
    steps = np.zeros(len(large) + 1)
    shut = np.zeros(len(large) + 1)
    spread = cv2.dilate(soft, _disc(2)) - cv2.erode(soft, _disc(2))
    dark = cv2.dilate(ink.astype(np.uint8), _disc(5)) > 0
    for index, old in enumerate(large, 1):
        x, y, w, h = (int(value) for value in stats[old, :4])
        box = (slice(max(0, y - 4), y + h + 4), slice(max(0, x - 4), x + w + 4))
        inside = numbers[box] == index
        rim = (grown[box] == index) & (numbers[box] == 0)
        open_rim = rim & ~dark[box]
        tones[index] = np.median(soft[box][inside])
        shut[index] = 1.0 - open_rim.sum() / max(1, int(rim.sum()))
        if open_rim.sum() >= _LEAST_RIM_PX:
            steps[index] = np.median(spread[box][open_rim])
    contrast = 1.0 - tones
    sharp = (steps > _SHARP_SHARE * contrast) & (contrast > _LEAST_STEP)
    kept = sharp | ((shut > 0.6) & (contrast > 2 * _LEAST_STEP))
    kept[0] = False
    return _Areas(grown, tones, np.asarray(kept, dtype=bool))
