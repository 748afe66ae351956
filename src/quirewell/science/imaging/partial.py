"""Area of ground inside an outline, by the share of each pixel that is ground.

A count of whole pixels is wrong by the length of the rim times a tenth of a pixel or so. Here
a pixel on the rim counts by how far its light lies between the ground and the paper *on either
side of that stretch of rim*, both carried on to the rim by straight lines (shadow lies on the
ground, paper is tanned to its edge).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]
Mask = NDArray[np.bool_]

# Pixels on both sides of the rim that count by their share.
_BAND_PX = 2.0
_NEAR_PX = (2.5, 5.5)
_FAR_PX = (6.0, 10.0)
# Strokes of print narrower than this that touch the rim are no ground; nor are open tears.
STROKE_MM = 0.6
_DARK_PRINT = 0.85


@dataclass(frozen=True, slots=True)
class OpenArea:
    """Ground inside an outline: length of its rim on paper [px], its mask, and the share of
    each pixel that counts."""

    rim_px: float
    mask: Mask
    weight: Float

    @property
    def area_px(self) -> float:
        """Area [px^2]."""
        return float(self.weight.sum(dtype=np.float64))

    def without(self, mask: Mask) -> OpenArea:
        """The same less the masked pixels."""
        return replace(self, weight=np.where(mask, np.float32(0.0), self.weight))


def open_area(
    light: Float, seed: Mask, allowed: Mask, inside: Float, unseen: Mask, px_mm: float
) -> OpenArea:
    """Area of the ground that hangs together with ``seed``.

    Parameters
    ----------
    light
        linear light (H, W, 3)
    seed, allowed
        pixels that surely are ground, and those that may be
    inside
        share of each pixel inside the outline [0..1]
    unseen
        pixels to leave out
    px_mm
        size of a pixel [mm]
    """
    ground, paper = seed & ~unseen, ~allowed & ~unseen
    share = _share(light, ground, paper)
    mask = seed
    for _ in range(2):
        mask = _joined((share < 0.5) & allowed & ~unseen, seed)
        share = _share(light, mask, ~mask & ~unseen)
    mask = _joined((share < 0.5) & allowed & ~unseen, seed)
    opened = _opened(mask, px_mm)
    weight = _weights(share, mask, opened)
    weight[unseen] = 0.0
    rings, _ = cv2.findContours(
        (opened & (inside > 0.5)).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    on_line = float(np.sum(opened & (inside > 0.0) & (inside < 1.0)))
    rim = max(0.0, sum(cv2.arcLength(ring, True) for ring in rings) - on_line)
    return OpenArea(rim, opened, weight * inside)


def _weights(share: Float, mask: Mask, opened: Mask) -> Float:
    """Share of ground of each pixel: on the rim by its light, elsewhere all or nothing."""
    out = np.asarray(opened, np.float32)
    away = np.maximum(_depth(opened), _depth(~opened))
    # Where print touches the rim its light says nothing: keep the rim as it was opened.
    print_ = np.asarray(cv2.dilate((mask & ~opened).astype(np.uint8), np.ones((5, 5), np.uint8)))
    band = (away <= _BAND_PX) & (print_ == 0)
    out[band] = np.clip(1.0 - share[band], -0.25, 1.25)
    return out


def _opened(mask: Mask, px_mm: float) -> Mask:
    reach = max(1, round(0.5 * STROKE_MM / px_mm))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    padded = np.pad(mask.astype(np.uint8), reach + 1, mode="edge")
    opened = np.asarray(cv2.morphologyEx(padded, cv2.MORPH_OPEN, kernel)) > 0
    opened = opened[reach + 1 : -reach - 1, reach + 1 : -reach - 1]
    # Opening rounds corners of the rim; what lies within a pixel or two of it is put back.
    near = np.asarray(cv2.dilate(opened.astype(np.uint8), np.ones((3, 3), np.uint8))) > 0
    return np.asarray(opened | (near & mask))


def _share(light: Float, ground: Mask, paper: Mask) -> Float:
    """Share of paper in each pixel, by the local levels of ground and paper."""
    behind = _carried(light, ground, np.ones_like(ground), 0.5)
    luma = light[..., 1]
    usual = _mean(luma[..., None], paper & (_depth(paper) > _NEAR_PX[0]))[..., 0]
    bare = luma > _DARK_PRINT * usual
    again = _mean(luma[..., None], paper & bare & (_depth(paper) > _NEAR_PX[0]))[..., 0]
    before = _carried(light, paper, luma > _DARK_PRINT * again, 0.1)
    way = before - behind
    square = np.maximum((way**2).sum(axis=2), 1e-6)
    return np.asarray(((light - behind) * way).sum(axis=2) / square, dtype=np.float32)


def _carried(light: Float, mask: Mask, use: Mask, most: float) -> Float:
    """Level of the masked side carried on to its rim; the step is at most ``most`` of it."""
    depth = _depth(mask)
    near = _mean(light, use & (depth >= _NEAR_PX[0]) & (depth <= _NEAR_PX[1]))
    far_mask = use & (depth >= _FAR_PX[0]) & (depth <= _FAR_PX[1])
    if far_mask.sum() < 30:
        return near
    far = _mean(light, far_mask)
    limit = most * np.abs(near)
    return np.asarray(near + np.clip(near - far, -limit, limit), dtype=np.float32)


def _mean(light: Float, mask: Mask) -> Float:
    """Mean of the masked pixels around each pixel; from farther away where there are none."""
    weight = mask.astype(np.float32)
    if not mask.any():
        return np.asarray(np.broadcast_to(light.mean(axis=(0, 1)), light.shape), np.float32)
    stacked = np.dstack([light * weight[..., None], weight])
    total = np.zeros_like(stacked)
    for sigma, part in ((6.0, 1.0), (24.0, 1e-3), (96.0, 1e-6)):
        step = max(1, int(sigma / 3))
        size = max(2, stacked.shape[1] // step), max(2, stacked.shape[0] // step)
        low = cv2.resize(stacked, size, interpolation=cv2.INTER_AREA)
        low = cv2.GaussianBlur(low, (0, 0), sigma / step)
        wide = cv2.resize(low, (stacked.shape[1], stacked.shape[0]))
        cv2.scaleAdd(wide, part, total, total)
    total[..., :-1] += 1e-9 * light[mask].mean(axis=0)
    total[..., -1] += 1e-9
    return np.asarray(total[..., :-1] / total[..., -1:], dtype=np.float32)


def _depth(mask: Mask) -> Float:
    """Distance of each masked pixel's middle from the rim of the mask [px], 0 outside."""
    found = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(np.maximum(found - 0.5, 0.0) * mask, dtype=np.float32)


def _joined(mask: Mask, seed: Mask) -> Mask:
    _, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    touched = np.unique(labels[seed & mask])
    keep = np.zeros(int(labels.max()) + 1, bool)
    keep[touched[touched > 0]] = True
    return np.asarray(keep[labels])
