"""What is wrong with a scan, as sentences: clipped, blurred, sharpened, coarse, packed in blocks,
a leaf that is blank, lies curved, or has an uneven ground behind it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from quirewell.science.imaging.leaf import Leaf

Pixels = NDArray[np.uint8 | np.uint16]
# Common practice, no source: 300 dpi for print; below 200 fine print and edges suffer.
COARSE_UM = 130.0
SOFT_PX = 1.5
CLIPPED_SHARE = 0.02
# Scans that were not sharpened overshoot by 0.01 at most (planted leaves on all grounds).
SHARPENED = 0.05
# Steps at every eighth pixel over those elsewhere: up to 1.02 in plain scans, 1.2 in JPEG of
# quality 95, 1.5 in one of 80 (generated leaves).
BLOCKS = 1.3
# Book pages under a camera bow at head and foot alike.
CURVED_MM = 0.6
# The ground's light at its lighter tenth over its darker tenth.
UNEVEN = 6.0
BLANK_INK = 0.0015


def quality_warnings(
    pixels: Pixels, leaf: Leaf | None, um_per_px: float | None, grey: bool
) -> list[str]:
    """Sentences on clipping, sharpness and resolution; none when all is well."""
    says = []
    share = clipped_share(pixels, leaf)
    if share > CLIPPED_SHARE:
        says.append(
            f"{100 * share:.0f} % of the leaf is burnt out (a colour channel at its end): its tone "
            "is lighter than could be measured. Scan darker, with all automatic corrections off."
        )
    if leaf is not None and leaf.blur_px is not None and leaf.blur_px > SOFT_PX:
        says.append(
            f"The edges of the leaf are soft ({leaf.blur_px:.1f} pixels): is it flat on the glass, "
            "was it enlarged afterwards?"
        )
    if leaf is not None:
        says += _edge_sentences(leaf, um_per_px)
        says += _ground_sentences(leaf)
        if ink_share(leaf) < BLANK_INK:
            says.append(
                "The leaf seems to bear no print: it can be measured, but comparing it with "
                "another scan has only the texture of its paper to go by."
            )
    blocks = block_steps(pixels)
    if blocks > BLOCKS:
        says.append(
            "The picture was packed in blocks of 8 pixels, as strong JPEG does: fine print and "
            "edges suffer. Scan to TIFF, or to JPEG of the best quality."
        )
    if um_per_px is not None and um_per_px > COARSE_UM:
        says.append(
            f"The resolution is low ({25400 / um_per_px:.0f} dpi): sizes hold, small losses and "
            "print do not. 300 dpi is the usual choice."
        )
    if leaf is not None and grey:
        says.append("A grey scan has no a*, b* or yellowness; scan in colour to measure tone.")
    return says


def _edge_sentences(leaf: Leaf, um_per_px: float | None) -> list[str]:
    edges = [edge for side, edge in leaf.edges.items() if side not in (*leaf.pointed, leaf.fold)]
    says = []
    if edges and float(np.median([edge.overshoot for edge in edges])) > SHARPENED:
        says.append(
            "The scan was sharpened: its edges overshoot. Positions of print come out worse and "
            "edges brighter; scan with sharpening off."
        )
    bows = [] if um_per_px is None else [um_per_px / 1000.0 * bow for bow in _bows_px(leaf)]
    if len(bows) == 2 and min(bows) > CURVED_MM:
        says.append(
            f"Head and foot bow by {bows[0]:.1f} and {bows[1]:.1f} mm: the page lies curved, as in "
            "an opened book under a camera. Widths come out too small by an unknown part, and "
            "what seems missing at head and foot may be the bow; lay the leaf flat under glass."
        )
    return says


def _bows_px(leaf: Leaf) -> list[float]:
    """How far head and foot bow [px], from the coarse map, where edges off their lines show too;
    none for an edge that has no steady bow."""
    region = leaf.region
    if not region.ground.any():
        return []
    columns = np.flatnonzero(region.leaf.sum(axis=0) > 0.5 * region.leaf.sum(axis=0).max())
    if columns.size < 60:
        return []
    inner = columns[round(0.03 * columns.size) : -round(0.03 * columns.size)]
    part = region.leaf[:, inner]
    ends = (np.argmax(part, axis=0), part.shape[0] - 1 - np.argmax(part[::-1], axis=0))
    bows = []
    for end in ends:
        if end.min() == 0 or end.max() == part.shape[0] - 1:
            continue
        x = np.linspace(-1.0, 1.0, inner.size)
        keep = np.ones(inner.size, bool)
        for _ in range(8):
            found = np.polyfit(x[keep], end[keep], 2)
            miss = np.abs(end - np.polyval(found, x))
            keep = miss <= max(3.0 * 1.4826 * float(np.median(miss[keep])), 1.0)
        bow, rough = abs(float(found[0])), float(np.median(miss[keep]))
        if keep.mean() > 0.6 and rough < 0.3 * bow:
            bows.append(bow * region.factor)
    return bows


def _ground_sentences(leaf: Leaf) -> list[str]:
    """Whether the ground changes so much that a threshold for all of it would fail."""
    region = leaf.region
    if not region.ground.any():
        return []
    light = region.light[region.ground][::7, 1]
    low, high = (float(v) for v in np.quantile(light, [0.1, 0.9]))
    paper = float(np.median(region.light[region.leaf][::7, 1]))
    if high < UNEVEN * max(low, 0.002) or high - low < 0.1 * paper:
        return []
    return [
        "The ground behind the leaf is uneven; edges are taken against the ground beside each "
        "stretch, but a plain dark card is safer."
    ]


def ink_share(leaf: Leaf) -> float:
    """Share of the leaf [-], its rim left out, much darker than the paper about it."""
    region = leaf.region
    reach = max(3, round(0.02 * max(region.leaf.shape)) | 1)
    inner = cv2.erode(np.pad(region.leaf.astype(np.uint8), 1), np.ones((reach, reach), np.uint8))
    mask = np.asarray(inner[1:-1, 1:-1]) > 0
    if mask.sum() < 100:
        return 1.0
    green = np.asarray(region.light[..., 1], np.float32)
    levels = np.asarray(255.0 * np.sqrt(np.clip(green, 0.0, 1.0)), np.uint8)
    around = cv2.medianBlur(levels, 31).astype(np.float32)
    return float((levels[mask] < 0.82 * around[mask]).mean())


def block_steps(pixels: Pixels) -> float:
    """How much larger steps between pixels are at every eighth column or row than elsewhere.

    Taken on the flatter half of a sample from the middle of the picture, so that print does not
    hide the blocks; the best of the eight places the grid may start at.
    """
    middle = np.asarray(pixels[..., 1], np.float32)
    tall, wide = middle.shape
    part = middle[tall // 4 : tall // 4 + 1024, wide // 4 : wide // 4 + 1024]
    if min(part.shape) < 128:
        return 1.0
    best = 1.0
    for plane in (part, part.T):
        steps = np.abs(np.diff(plane, axis=1))
        steps = np.minimum(steps, np.quantile(steps, 0.8))
        columns = steps.mean(axis=0)
        means = np.array([columns[start::8].mean() for start in range(8)])
        at = int(np.argmax(means))
        rest = float(np.delete(means, at).mean())
        best = max(best, float(means[at]) / max(rest, 1e-6))
    return best


def clipped_share(pixels: Pixels, leaf: Leaf | None) -> float:
    """Share of the leaf's pixels [-] with a channel at its upper end, on every fourth pixel."""
    part = pixels[::4, ::4]
    burnt = (part == np.iinfo(pixels.dtype).max).any(axis=2)
    if leaf is None:
        return float(burnt.mean())
    paper, factor = leaf.region.leaf, leaf.region.factor
    rows = np.minimum((np.arange(part.shape[0]) * 4 / factor).astype(int), paper.shape[0] - 1)
    columns = np.minimum((np.arange(part.shape[1]) * 4 / factor).astype(int), paper.shape[1] - 1)
    on_leaf = paper[np.ix_(rows, columns)]
    return float(burnt[on_leaf].mean()) if on_leaf.any() else 0.0
