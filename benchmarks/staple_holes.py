"""Staple holes of a wrap scanned at 600 dpi, beside OpenCV's blob detector in the same run.

The peer is given what it cannot find: the band round the fold, cut out upright in grey, and which
of its blobs is nearest to each planted hole. Seconds are those from decoded pixels, median of
several calls; the scan is drawn at 300 dpi, where errors are measured, and doubled for the time.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

DPI = 300
SHEETS = ("w03", "w06")
REACH_MM = 1.0


def bench(repeats: int = 5) -> dict[str, Any]:
    """Seconds by ours and by the peer, errors of both [mm], blobs of the peer that are no hole."""
    from quirewell.demo.publication import sheet_plan
    from quirewell.demo.scans import DrawnSheet, hole_truth
    from quirewell.science.imaging.staple_holes import find_holes

    ours: list[float] = []
    theirs: list[float] = []
    lost = blobs = 0
    seconds: dict[str, float] = {}
    for code in SHEETS:
        plan = sheet_plan(code, 1936)
        pixels, truth = DrawnSheet(plan, DPI, 1936).panel("outer", "left", "before", "dark")
        size = truth.um_per_px_x / 1000.0, truth.um_per_px_y / 1000.0
        found = find_holes(pixels, size, panel="left")
        if found.frame is None:
            raise RuntimeError("no fold was found in a generated scan")
        planted = [(h.x_mm, h.y_mm) for h in hole_truth(plan, "before")]
        at = [(h.x_mm, h.y_mm) for h in found.holes if h.x_mm is not None and h.y_mm is not None]
        ours += _errors(at, planted)
        spots = _blobs(pixels, found.frame)
        near = _errors(spots, planted)
        theirs += near
        lost += len(planted) - len(near)
        blobs += len(spots) - len(near)
        if not seconds:
            seconds = _seconds(pixels, size, repeats)
    return {
        "seconds": round(seconds["ours"], 3),
        "by_peer": round(seconds["ours"] / seconds["peer"], 2),
        "megapixels": round(seconds["megapixels"], 1),
        "error_mm_rms": round(float(np.sqrt(np.mean(np.square(ours)))), 4),
        "error_mm_max": round(max(ours), 4),
        "peer_error_mm_rms": round(float(np.sqrt(np.mean(np.square(theirs)))), 4),
        "peer_lost": lost,
        "peer_blobs_that_are_no_hole": blobs,
        "goal_seconds": 0.3,
    }


def _seconds(pixels: np.ndarray, size: tuple[float, float], repeats: int) -> dict[str, float]:
    """Ours and the peer's on the scan doubled to 600 dpi."""
    from quirewell.science.imaging.staple_holes import find_holes

    large = cv2.resize(pixels, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    half = size[0] / 2, size[1] / 2
    frame = find_holes(large, half, panel="left").frame
    return {
        "ours": _timed(lambda: find_holes(large, half, panel="left"), repeats),
        "peer": _timed(lambda: _blobs(large, frame), repeats),
        "megapixels": large.shape[0] * large.shape[1] / 1e6,
    }


def _timed(call: Callable[[], Any], repeats: int) -> float:
    call()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _errors(found: list[tuple[float, float]], planted: list[tuple[float, float]]) -> list[float]:
    """Distance of the nearest found place to each planted one, where it is near enough."""
    out = []
    for x, y in planted:
        away = min((float(np.hypot(a - x, b - y)) for a, b in found), default=np.inf)
        if away <= REACH_MM:
            out.append(away)
    return out


def _blobs(pixels: np.ndarray, frame: Any) -> list[tuple[float, float]]:
    """Dark blobs of a staple's size in the band, in the sheet's frame [mm]."""
    per_mm = float(np.hypot(*frame.down))
    rows, columns = int(frame.height_mm * per_mm), int(8.0 * per_mm)
    start = np.array(frame.to_px(-4.0, 0.0))
    warp = np.column_stack([np.array(frame.right) / per_mm, np.array(frame.down) / per_mm, start])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    band = cv2.warpAffine(np.ascontiguousarray(pixels[..., 1]), warp, (columns, rows), flags=flags)
    params = cv2.SimpleBlobDetector_Params()
    params.filterByArea, params.minArea = True, 0.1 * per_mm**2
    params.maxArea = 3.0 * per_mm**2
    params.filterByCircularity, params.minCircularity = True, 0.6
    params.filterByConvexity = params.filterByInertia = False
    params.filterByColor, params.blobColor = True, 0
    found = cv2.SimpleBlobDetector_create(params).detect(band)
    return [(point.pt[0] / per_mm - 4.0, point.pt[1] / per_mm) for point in found]
