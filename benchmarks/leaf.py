"""How true the leaf is measured on planted leaves at 300 dpi: size, missing area, open tears.

The naive peer for missing area, in the same run, is a count of whole pixels nearer to the ground
than to the paper, opened by 9 pixels.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from quirewell.demo.outline import Loss
from quirewell.demo.scenes import render_leaf
from quirewell.demo.tears import Tear, true_length_mm
from quirewell.science.imaging.leaf import Leaf, find_leaf
from quirewell.science.imaging.loss import find_loss, inward
from quirewell.science.imaging.scale import scale_from_dpi
from quirewell.science.imaging.size import leaf_size
from quirewell.science.imaging.tears import OpenTear, find_tears

DPI = 300
PX_MM = 25.4 / DPI
GROUNDS = ("dark", "white", "uneven")
LEAVES, TORN = 4, 12


def bench() -> dict[str, Any]:
    """Errors by subject."""
    return {"size and missing area": _sizes(), "single losses": _single(), "open tears": _tears()}


def _leaf(pixels: np.ndarray) -> Leaf:
    leaf = find_leaf(pixels, PX_MM)
    if leaf is None:
        raise RuntimeError("no leaf was found in a generated scan")
    return leaf


def _loss_mm2(pixels: np.ndarray, leaf: Leaf, um2: float) -> float:
    found = find_loss(pixels, leaf, PX_MM)
    return found.area_px * um2 / 1e6 if found else float("nan")


def _sizes() -> dict[str, float]:
    size, square, loss = [], [], []
    for ground in GROUNDS:
        for seed in range(LEAVES):
            pixels, truth = render_leaf(500 + seed, DPI, ground=ground, strip=False)
            leaf = _leaf(pixels)
            dpi = 25400 / truth.um_per_px_x, 25400 / truth.um_per_px_y
            found = leaf_size(leaf, scale_from_dpi(dpi, 1e-4, 0.0))
            size.append(1000 * (found.width.value_mm - truth.width_mm))
            size.append(1000 * (found.height.value_mm - truth.height_mm))
            square.append((found.squareness_deg or 0.0) - (truth.corner_deg - 90.0))
            area = _loss_mm2(pixels, leaf, truth.um_per_px_x * truth.um_per_px_y)
            loss.append(100 * (area / truth.loss_mm2 - 1))
    return {
        "size_um_max": float(np.abs(size).max()),
        "size_um_rms": float(np.sqrt(np.mean(np.square(size)))),
        "squareness_deg_max": float(np.abs(square).max()),
        "loss_pct_max": float(np.abs(loss).max()),
        "loss_pct_mean": float(np.mean(loss)),
    }


def _single() -> dict[str, float]:
    """Chips of 5 mm2 and more, one to a leaf, against a count of whole pixels."""
    ours, naive = [], []
    for number, (wide, deep) in enumerate(((4.0, 1.8), (5.0, 2.4), (7.0, 3.0), (10.0, 4.0))):
        for ground in GROUNDS[:2]:
            pixels, truth = render_leaf(
                60 + number, DPI, ground=ground, strip=False, width_mm=90.0, height_mm=80.0,
                losses=(Loss("chip", "head", 40.0, 0.0, wide, deep),), printed=False,
            )  # fmt: skip
            leaf = _leaf(pixels)
            um2 = truth.um_per_px_x * truth.um_per_px_y
            ours.append(100 * (_loss_mm2(pixels, leaf, um2) / truth.loss_mm2 - 1))
            naive.append(100 * (_counted(pixels, leaf) * um2 / 1e6 / truth.loss_mm2 - 1))
    return {
        "ours_pct_max": float(np.abs(ours).max()),
        "whole_pixels_pct_max": float(np.abs(naive).max()),
    }


def _counted(pixels: np.ndarray, leaf: Leaf) -> float:
    """Whole pixels of ground deeper than 3 px, and for each on that line the 3 px before it."""
    grey, small = pixels[..., 1].astype(np.float32), leaf.region
    rows = (np.arange(grey.shape[0]) / small.factor).astype(int).clip(0, small.leaf.shape[0] - 1)
    columns = (np.arange(grey.shape[1]) / small.factor).astype(int).clip(0, small.leaf.shape[1] - 1)
    paper = np.median(grey[small.leaf[np.ix_(rows, columns)]])
    ground = np.median(grey[small.ground[np.ix_(rows, columns)]])
    mask = (np.abs(grey - ground) < np.abs(grey - paper)).astype(np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((9, 9), np.uint8)))
    x, y = np.arange(grey.shape[1])[None, :] + 0.5, np.arange(grey.shape[0])[:, None] + 0.5
    away = np.minimum.reduce(list(inward(leaf, x, y).values()))
    return float((mask * (away > 3.0)).sum() + 3.0 * (mask * (np.abs(away - 3.0) < 0.5)).sum())


def _planted(seed: int) -> tuple[float, float, tuple[Tear, ...]]:
    """Size of a leaf [mm] and four tears in it, gaps from 0.6 mm down to 0.1 mm."""
    rng = np.random.default_rng([seed, 777])
    wide, tall = rng.uniform(165, 196), rng.uniform(235, 264)
    tears = []
    for edge in rng.permutation(["head", "right", "foot", "left"]):
        along = rng.uniform(0.15, 0.85) * (wide if edge in ("head", "foot") else tall)
        length, mouth = rng.uniform(3.2, 28), rng.uniform(0.12, 0.6)
        lean, bend = rng.uniform(-35, 35), rng.uniform(-1.5, 1.5)
        tears.append(Tear(str(edge), along, length, mouth, 0.1, lean, bend))
    return wide, tall, tuple(tears)


def _seen(pixels: np.ndarray) -> list[OpenTear]:
    found = find_tears(pixels, _leaf(pixels), PX_MM)
    return list(found.found) if found else []


def _tears() -> dict[str, float]:
    """Printed leaves with four tears each; and printed leaves with chips but no tears."""
    missed = false = 0
    bare: list[float] = []
    hidden: list[float] = []
    for seed in range(1, TORN + 1):
        wide, tall, tears = _planted(seed)
        pixels, truth = render_leaf(
            seed, DPI, strip=False, losses=(), width_mm=wide, height_mm=tall, tears=tears
        )
        left = _seen(pixels)
        for tear in tears:
            near = [one for one in left if _apart_mm(one, tear, truth) < 3.0]
            if not near:
                missed += 1
                continue
            left.remove(near[0])
            miss = near[0].length_mm - true_length_mm(tear)
            (hidden if near[0].ends_in_print else bare).append(abs(miss))
        false += len(left)
    ordinary = sum(
        len(_seen(render_leaf(seed, DPI, strip=False)[0])) for seed in range(1, TORN + 1)
    )
    return {
        "planted": 4 * TORN,
        "missed": missed,
        "false_on_torn_leaves": false,
        "false_on_ordinary_leaves": ordinary,
        "ordinary_leaves": TORN,
        "ends_on_bare_paper": len(bare),
        "bare_length_mm_max": max(bare),
        "ends_lost_in_print": len(hidden),
        "in_print_within_1_mm": sum(miss <= 1.0 for miss in hidden),
        "in_print_length_mm_max": max(hidden),
    }


def _apart_mm(found: OpenTear, tear: Tear, truth: Any) -> float:
    """How far the mouth of a tear lies from that of a planted one; nan on another edge."""
    if found.side != tear.edge:
        return float("nan")
    ends = {"head": (0, 1), "right": (1, 2), "foot": (2, 3), "left": (3, 0)}[tear.edge]
    start, stop = (np.array(truth.corners_px[end]) for end in ends)
    along = (stop - start) / np.hypot(*(stop - start))
    place = start + along * tear.at_mm * 1000.0 / truth.um_per_px_x
    return float(np.hypot(*(found.course_px[0] - place)) * PX_MM)


if __name__ == "__main__":
    for name, row in bench().items():
        print(name, {key: round(value, 4) for key, value in row.items()})
