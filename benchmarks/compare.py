"""Comparing a pair at 300 and 600 dpi: seconds and peak memory per megapixel, against a peer.

The peer is OpenCV's own affine registration by enhanced correlation (ECC), which starts from
our coarse match and, unlike ours, can follow no bend. Each case runs in a process of its own,
so that its peak memory is its own.
"""

from __future__ import annotations

import json
import multiprocessing
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from peak import fresh_peak_mb, peak_mb


def _make(folder: Path) -> None:
    from quirewell.demo.scans import write_scan
    from quirewell.demo.scenes import render_pair

    before, after, truth = render_pair(1936, 300)
    for name, picture in (("before", before), ("after", after)):
        write_scan(folder / f"{name}-300.tif", picture, 300)
        double = cv2.resize(picture, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
        write_scan(folder / f"{name}-600.tif", np.asarray(double, np.uint8), 600)
    planted = {"width": truth.change_width_pct, "height": truth.change_height_pct}
    (folder / "truth.json").write_text(json.dumps(planted), encoding="utf-8")


def _whole(folder: Path, dpi: int) -> dict[str, Any]:
    from quirewell.stages.comparing import compare

    files = {role: folder / f"{role}-{dpi}.tif" for role in ("before", "after")}
    start_mb, start = fresh_peak_mb(), time.perf_counter()
    outcome = compare(files, {})
    seconds = time.perf_counter() - start
    values = {finding.quantity: finding.value for finding in outcome.findings}
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return {
        "seconds": seconds,
        "peak_mb": peak_mb() - start_mb,
        "all_mb": peak_mb(),
        "width_error_pct": values["change.width_pct"] - truth["width"],
        "height_error_pct": values["change.height_pct"] - truth["height"],
    }


def _greys(folder: Path, dpi: int) -> list[np.ndarray]:
    from quirewell.studio.images import load_picture

    pixels = (load_picture(folder / f"{r}-{dpi}.tif").pixels for r in ("before", "after"))
    return [np.asarray(cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)) for part in pixels]


def _ours(folder: Path, dpi: int) -> dict[str, Any]:
    from quirewell.science.imaging.register import register

    before, after = _greys(folder, dpi)
    start_mb, start = fresh_peak_mb(), time.perf_counter()
    register(before, after)
    return {
        "seconds": time.perf_counter() - start,
        "peak_mb": peak_mb() - start_mb,
        "megapixels": before.size / 1e6,
    }


def _peer(folder: Path, dpi: int) -> dict[str, Any]:
    from quirewell.science.imaging.match import coarse_match

    before, after = (part.astype(np.float32) for part in _greys(folder, dpi))
    start_mb, start = fresh_peak_mb(), time.perf_counter()
    warp = coarse_match(before, after).affine.astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 1e-6)
    cv2.findTransformECC(before, after, warp, cv2.MOTION_AFFINE, stop, None, 5)
    return {"seconds": time.perf_counter() - start, "peak_mb": peak_mb() - start_mb}


def bench() -> dict[str, Any]:
    """Seconds and peak MB per megapixel of one side of the pair, and ratios to the peer."""
    context = multiprocessing.get_context("spawn")
    out: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with context.Pool(1) as pool:
            pool.apply(_make, (folder,))
        for dpi in (300, 600):
            cases = {}
            for case in (_whole, _ours, _peer):
                with context.Pool(1) as pool:
                    cases[case.__name__.strip("_")] = pool.apply(case, (folder, dpi))
            out[f"{dpi}_dpi"] = _summary(cases)
    return out


def _summary(cases: dict[str, dict[str, Any]]) -> dict[str, Any]:
    size = cases["ours"]["megapixels"]
    whole, ours, peer = cases["whole"], cases["ours"], cases["peer"]
    return {
        "megapixels": round(size, 2),
        "whole_seconds": round(whole["seconds"], 2),
        "whole_seconds_per_megapixel": round(whole["seconds"] / size, 3),
        "whole_process_mb": round(whole["all_mb"]),
        "whole_peak_mb_per_megapixel": round(whole["peak_mb"] / size, 1),
        "width_error_pct": round(whole["width_error_pct"], 4),
        "height_error_pct": round(whole["height_error_pct"], 4),
        "register_seconds_per_megapixel": round(ours["seconds"] / size, 3),
        "register_peak_mb_per_megapixel": round(ours["peak_mb"] / size, 1),
        "register_seconds_over_peer": round(ours["seconds"] / peer["seconds"], 3),
        "register_memory_over_peer": round(ours["peak_mb"] / max(peer["peak_mb"], 1.0), 3),
    }


if __name__ == "__main__":
    json.dump(bench(), sys.stdout, indent=2)
