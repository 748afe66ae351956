"""Things in the picture that are not the leaf: a hand, a weight, another sheet, glare.

Each finding is a :class:`Foreign` with its rim, so that a person sees it and can paint it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.colour.spaces import lab_from_linear
from quirewell.science.imaging.leaf import Leaf
from quirewell.science.imaging.loss import inward

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Pixels = NDArray[np.uint8 | np.uint16]
Kind = Literal["hand", "object", "sheet", "glare"]

_BEYOND_MM = 2.0
_LEAST_MM2 = 60.0
_SHEET_MM2 = 900.0
# Skin, from memory: warm, of medium lightness; paper, however brown, is less red than yellow.
_SKIN_HUE_DEG = (15.0, 62.0)
_SKIN_CHROMA = (9.0, 45.0)
_SKIN_L = (25.0, 88.0)
_REDDER = 5.0
_OTHER_COLOUR = 14.0
_GLARE_MM2 = 20.0
_GLARE_LIGHTER = 6.0


@dataclass(frozen=True, slots=True)
class Foreign:
    """Something that is not the leaf: what it looks like, its area [mm2] and its rim [px]."""

    kind: Kind
    area_mm2: float
    rim_px: Array


def find_foreign(pixels: Pixels, leaf: Leaf, px_mm: float) -> tuple[Foreign, ...]:
    """Hands and objects that reach over an edge, other sheets, and glare.

    Parameters
    ----------
    pixels
        picture (H, W, 3) in sRGB encoding
    px_mm
        size of a pixel [mm]
    """
    region = leaf.region
    small_mm = px_mm * region.factor
    y = ((np.arange(region.leaf.shape[0]) + 0.5) * region.factor)[:, None]
    x = ((np.arange(region.leaf.shape[1]) + 0.5) * region.factor)[None, :]
    away = inward(leaf, x, y)
    seen = [away[side] for side in leaf.edges if side != leaf.fold]
    found: list[Foreign] = []
    if seen and region.ground.any():
        nearest = np.minimum.reduce(seen) * px_mm
        # Beyond a fold, or where the leaf runs out of the picture, more paper is to be expected.
        for side, distance in away.items():
            if side == leaf.fold or side not in leaf.edges:
                nearest = np.where(distance < 0.0, 0.0, nearest)
        lab = lab_from_linear(region.light)
        found += _across(leaf, lab, nearest, small_mm)
        found += _sheets(leaf, lab, nearest, small_mm)
        found += _taken_for_ground(leaf, lab, nearest, small_mm)
    found += _glare(pixels, leaf, small_mm)
    return tuple(found)


def _across(leaf: Leaf, lab: Array, inside_mm: Array, small_mm: float) -> list[Foreign]:
    """What hangs together with the leaf and reaches out over one of its edges."""
    region = leaf.region
    outside = region.leaf & (inside_mm < -_BEYOND_MM)
    out = []
    for part in _parts(outside, _LEAST_MM2 / small_mm**2):
        if not _touches_leaf(part, region.leaf, inside_mm):
            continue
        tone = np.median(lab[part], axis=0)
        kind: Kind = "hand" if _is_skin(tone, region.paper_lab) else "object"
        if kind == "object" and _is_paper(tone, region.paper_lab):
            kind = "sheet"
        out.append(Foreign(kind, float(part.sum()) * small_mm**2, _rim(part, region.factor)))
    return out


def _sheets(leaf: Leaf, lab: Array, inside_mm: Array, small_mm: float) -> list[Foreign]:
    """Other large light things on the ground: a second sheet or the facing page."""
    region = leaf.region
    other = ~region.leaf & ~region.ground & ~region.hidden & (inside_mm < -_BEYOND_MM)
    out = []
    for part in _parts(other, _SHEET_MM2 / small_mm**2):
        tone = np.median(lab[part], axis=0)
        if _is_skin(tone, region.paper_lab):
            out.append(Foreign("hand", float(part.sum()) * small_mm**2, _rim(part, region.factor)))
        elif _is_paper(tone, region.paper_lab):
            out.append(Foreign("sheet", float(part.sum()) * small_mm**2, _rim(part, region.factor)))
    return out


def _taken_for_ground(leaf: Leaf, lab: Array, inside_mm: Array, small_mm: float) -> list[Foreign]:
    """What reaches into the leaf and looks like ground, but has another colour than it."""
    region = leaf.region
    usual = np.median(lab[region.ground & (inside_mm < 0.0)], axis=0)
    out = []
    for part in _parts(region.ground & (inside_mm > _BEYOND_MM), _LEAST_MM2 / small_mm**2):
        tone = np.median(lab[part], axis=0)
        if float(np.hypot(tone[1] - usual[1], tone[2] - usual[2])) > _OTHER_COLOUR:
            kind: Kind = "hand" if _is_skin(tone, region.paper_lab) else "object"
            out.append(Foreign(kind, float(part.sum()) * small_mm**2, _rim(part, region.factor)))
    return out


def _glare(pixels: Pixels, leaf: Leaf, small_mm: float) -> list[Foreign]:
    """Patches of the leaf that are burnt out although the paper about them is not."""
    region = leaf.region
    top = float(np.iinfo(pixels.dtype).max)
    size = region.leaf.shape[1], region.leaf.shape[0]
    full = cv2.resize((pixels.min(axis=2) >= 0.99 * top).astype(np.float32), size,
                      interpolation=cv2.INTER_AREA)  # fmt: skip
    burnt = (full > 0.9) & region.leaf
    if burnt.sum() > 0.25 * region.leaf.sum():
        return []
    lightness = lab_from_linear(region.light)[..., 0]
    if not (region.leaf & ~burnt).any():
        return []
    usual = float(np.quantile(lightness[region.leaf & ~burnt], 0.8))
    if usual > 100.0 - _GLARE_LIGHTER:
        return []
    return [
        Foreign("glare", float(part.sum()) * small_mm**2, _rim(part, region.factor))
        for part in _parts(burnt, _GLARE_MM2 / small_mm**2)
    ]


def _is_skin(tone: Array, paper: tuple[float, float, float]) -> bool:
    chroma = float(np.hypot(tone[1], tone[2]))
    hue = float(np.degrees(np.arctan2(tone[2], tone[1])))
    return bool(
        _SKIN_HUE_DEG[0] <= hue <= _SKIN_HUE_DEG[1]
        and _SKIN_CHROMA[0] <= chroma <= _SKIN_CHROMA[1]
        and _SKIN_L[0] <= tone[0] <= _SKIN_L[1]
        and tone[1] > paper[1] + _REDDER
    )


def _is_paper(tone: Array, paper: tuple[float, float, float]) -> bool:
    """Near the leaf's own tone, some darker print or shade allowed."""
    apart = np.hypot(tone[1] - paper[1], tone[2] - paper[2])
    return bool(apart < 12.0 and tone[0] > paper[0] - 18.0)


def _touches_leaf(part: Mask, leaf: Mask, inside_mm: Array) -> bool:
    grown = np.asarray(cv2.dilate(part.astype(np.uint8), np.ones((25, 25), np.uint8))) > 0
    return bool((grown & leaf & (inside_mm > 0.0)).any())


def _parts(mask: Mask, least: float) -> list[Mask]:
    """Connected parts that are large, thin ones opened away."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(np.asarray(opened, np.uint8))
    return [labels == label for label in range(1, count) if stats[label, cv2.CC_STAT_AREA] >= least]


def _rim(part: Mask, factor: float) -> Array:
    rings, _ = cv2.findContours(part.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = cv2.approxPolyDP(max(rings, key=len), 1.5, True).reshape(-1, 2)
    return np.asarray((ring + 0.5) * factor, dtype=np.float64)


_SAYS: dict[Kind, str] = {
    "hand": "A hand or finger seems to lie across the leaf's edge ({area} cm2)",
    "object": "Something that is neither leaf nor ground lies across the leaf's edge ({area} cm2)",
    "sheet": "Another sheet or the facing page lies beside the leaf ({area} cm2)",
    "glare": "A patch of the leaf glares ({area} cm2 burnt out)",
}
_CURES: dict[Kind, str] = {
    "hand": "Take it away, or paint it out",
    "object": "Take it away, or paint it out",
    "sheet": "Lay a dark card between, or place the corners by hand",
    "glare": "Move the lamp, or scan on a flatbed; its tone and print are lost there",
}


def foreign_sentences(found: tuple[Foreign, ...]) -> list[str]:
    """A sentence for each kind of thing that is not the leaf, with what to do about it."""
    says = []
    for kind in _SAYS:
        area = sum(thing.area_mm2 for thing in found if thing.kind == kind)
        if area > 0:
            words = _SAYS[kind].format(area=f"{area / 100:.1f}")
            says.append(f"{words}. {_CURES[kind]}.")
    return says
