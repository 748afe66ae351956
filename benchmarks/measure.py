"""Seconds and peak memory per megapixel: loading a scan and measuring the leaf in it.

Each case runs in its own process, so that its peak memory is its own.
"""

from __future__ import annotations

import multiprocessing
import tempfile
import time
from pathlib import Path
from typing import Any

from peak import fresh_peak_mb, peak_mb

CASES = ((300, "deflate"), (600, "deflate"))


def bench() -> dict[str, Any]:
    """Rows by case: pixels, seconds to load and to measure, peak megabytes, each per megapixel."""
    rows: dict[str, Any] = {}
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as folder:
        for dpi, compression in CASES:
            path = Path(folder) / f"leaf-{dpi}.tif"
            _alone(context, _write, str(path), dpi, compression)
            rows[f"{dpi} dpi"] = _alone(context, _case, str(path))
    return rows


def _alone(context: Any, task: Any, *arguments: Any) -> Any:
    with context.Pool(1) as pool:
        return pool.apply(task, arguments)


def _write(path: str, dpi: int, compression: str) -> None:
    import tifffile

    from quirewell.demo.scenes import render_leaf

    pixels, _ = render_leaf(7, dpi)
    tifffile.imwrite(
        path, pixels, photometric="rgb", compression=compression, resolution=(dpi, dpi),
        resolutionunit=2,
    )  # fmt: skip


def _case(path: str) -> dict[str, float]:
    from quirewell.stages.measuring import look, outcome_of
    from quirewell.stages.measuring_asked import Asked
    from quirewell.studio.images import load_picture

    idle = fresh_peak_mb()
    start = time.perf_counter()
    picture = load_picture(Path(path))
    loaded = time.perf_counter()
    loaded_mb = peak_mb() - idle
    outcome_of(look(picture, Asked()), Asked())
    done = time.perf_counter()
    mpx = picture.pixels.shape[0] * picture.pixels.shape[1] / 1e6
    return {
        "megapixels": mpx,
        "load_s": loaded - start,
        "measure_s": done - loaded,
        "load_s_per_mpx": (loaded - start) / mpx,
        "measure_s_per_mpx": (done - loaded) / mpx,
        "load_peak_mb_per_mpx": loaded_mb / mpx,
        "peak_mb": peak_mb(),
        "peak_mb_per_mpx": (peak_mb() - idle) / mpx,
    }


if __name__ == "__main__":
    for name, row in bench().items():
        print(name, {key: round(value, 3) for key, value in row.items()})
