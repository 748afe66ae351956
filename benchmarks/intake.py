"""Seconds and peak memory per megapixel: taking a scan into a studio.

The peer, in the same run, is a plain copy of the same file made durable: what intake adds is
the hash, the decoding check, the journal and the preview. The first row also pays for
starting the worker; the worker's memory is the one of loading, see ``measure``.
"""

from __future__ import annotations

import os
import resource
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any

from measure import _alone, _write

CASES = (300, 600)


def bench() -> dict[str, Any]:
    """Rows by resolution: seconds, ratio to a durable copy, peak megabytes."""
    import multiprocessing

    context = multiprocessing.get_context("spawn")
    rows: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        for dpi in CASES:
            path = Path(folder) / f"w01-outer-right-before-{dpi}.tif"
            _alone(context, _write, str(path), dpi, "deflate")
            rows[f"{dpi} dpi"] = _case(path, Path(folder) / f"studio-{dpi}")
    return rows


def _case(path: Path, folder: Path) -> dict[str, float]:
    from quirewell.jobs.runner import Runner
    from quirewell.stages import overview
    from quirewell.stages.taking_in import Source, take_in
    from quirewell.studio.image_header import read_header
    from quirewell.studio.studio import Studio

    header = read_header(path)
    mpx = header.width_px * header.height_px / 1e6
    start = time.perf_counter()
    _durable_copy(path, folder.with_suffix(".copy"))
    copy_s = time.perf_counter() - start
    with Studio.create(folder) as studio, Runner(1) as runner:
        item = studio.new_id("bench")
        studio.append(item, 0, overview.open_item(item, {"title": "bench", "wraps": "1"}))
        start = time.perf_counter()
        report = take_in(studio, item, [Source("w01-outer-right-before.tif", path)], runner=runner)
        taken_s = time.perf_counter() - start
    assert len(report.taken) == 1, report
    return {
        "megapixels": mpx,
        "intake_s": taken_s,
        "intake_s_per_mpx": taken_s / mpx,
        "times_a_durable_copy": taken_s / copy_s,
        "parent_peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3,
    }


def _durable_copy(source: Path, target: Path) -> None:
    with source.open("rb") as read, target.open("wb") as write:
        shutil.copyfileobj(read, write)
        write.flush()
        os.fsync(write.fileno())


if __name__ == "__main__":
    for name, row in bench().items():
        print(name, {key: round(value, 3) for key, value in row.items()})
