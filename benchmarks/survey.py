"""A survey: two workers against one, against plain calls in one process, and what a call costs.

Scans are drawn leaves at 100 dpi, each another. All cases run one after another in the same run,
rows included (the folder is listed, hashed, kept); starting the workers is told apart, since it
is paid once. The load of the machine before each case is kept: a ratio made on a busy machine
says little. The small picture of a scan is timed beside measuring that scan, one after the other.
"""

from __future__ import annotations

import base64
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

SCANS = 24
TINY = 1000
DPI = 100
_PICTURE_BYTES = 4500


def bench() -> dict[str, Any]:
    """Seconds, speed-ups and load by engine; milliseconds a tiny call; what a small picture costs;
    50,000 rows kept, each with one."""
    from quirewell.jobs.cluster import local_cluster
    from quirewell.jobs.engine import PoolEngine, SerialEngine
    from quirewell.jobs.worker import prepare

    prepare()
    engines: dict[str, Callable[[], Any]] = {
        "plain calls": SerialEngine,
        "dask, 1 worker": lambda: local_cluster(1),
        "dask, 2 workers": lambda: local_cluster(2),
        "pool, 2 workers": lambda: PoolEngine(2),
    }
    rows: dict[str, Any] = {"scans": SCANS, "dpi": DPI, "cores": os.cpu_count()}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _draw(folder / "scans")
        for words, make in engines.items():
            rows[words] = _case(make, folder, words)
        rows["small picture"] = _small_pictures(folder / "scans")
    one, two = (rows[f"dask, {n}"]["measure_s"] for n in ("1 worker", "2 workers"))
    rows["two_by_one_worker"] = one / two
    rows["two_by_plain_calls"] = rows["plain calls"]["measure_s"] / two
    rows["50000 rows"] = _many_rows(50_000)
    return rows


def _draw(folder: Path) -> None:
    import tifffile

    from quirewell.demo.scenes import render_leaf

    folder.mkdir()
    for seed in range(SCANS):
        pixels, _ = render_leaf(seed, DPI)
        tifffile.imwrite(
            folder / f"scan-{seed:03d}.tif", pixels, photometric="rgb", compression="deflate",
            resolution=(DPI, DPI), resolutionunit=2,
        )  # fmt: skip


def _case(
    make: Callable[[], AbstractContextManager[Any]], folder: Path, words: str
) -> dict[str, Any]:
    from quirewell.stages.collection_run import Survey

    load = os.getloadavg()[0]
    began = time.perf_counter()
    with make() as engine:
        # Each worker measures once before the clock runs: compiled kernels are loaded then.
        warm = [str(path) for path in sorted((folder / "scans").iterdir())[:4]]
        _warm(engine, warm)
        ready = time.perf_counter()
        table = Survey(folder / "scans", folder / words.replace(", ", "-")).run(engine)
        done = time.perf_counter()
        tiny = _tiny(engine)
    assert table.num_rows == SCANS and not any(table["error"].to_pylist())
    return {
        "load_before": load, "start_s": ready - began, "measure_s": done - ready,
        "scans_per_minute": 60 * SCANS / (done - ready), "tiny_call_ms": tiny,
    }  # fmt: skip


def _warm(engine: Any, paths: list[str]) -> None:
    from quirewell.stages.collection_scan import TASK
    from quirewell.studio.blobs import hash_file

    for path in paths:
        engine.submit(f"warm {path}", TASK, (path, hash_file(Path(path)), {}))
    for _ in paths:
        _taken(engine)


def _taken(engine: Any) -> None:
    while engine.take(60) is None:
        pass


def _small_pictures(folder: Path) -> dict[str, float]:
    """Medians over eight scans: making the small picture against measuring the same scan."""
    from quirewell.stages.collection_picture import small_picture
    from quirewell.stages.measuring import look
    from quirewell.stages.measuring_asked import read_params
    from quirewell.studio.images import load_picture

    shares, took, sizes = [], [], []
    for path in sorted(folder.iterdir())[:8]:
        picture = load_picture(path)
        began = time.perf_counter()
        seen = look(picture, read_params({}), stains=False)
        measured = time.perf_counter()
        text = small_picture(picture.pixels, seen.leaf, seen.loss)
        drawn = time.perf_counter() - measured
        took.append(1000 * drawn)
        shares.append(drawn / (measured - began))
        sizes.append(len(text) * 3 / 4 / 1e3)
    return {
        "ms": statistics.median(took), "times_measuring": statistics.median(shares),
        "kb": statistics.median(sizes),
    }  # fmt: skip


def _tiny(engine: Any) -> float:
    """Milliseconds a call that does next to nothing, eight under way."""
    began, sent = time.perf_counter(), 0
    for got in range(TINY):
        while sent < min(TINY, got + 8):
            engine.submit(f"tiny {sent}", "math.sqrt", (float(sent),))
            sent += 1
        _taken(engine)
    return 1000 * (time.perf_counter() - began) / TINY


def _many_rows(count: int) -> dict[str, float]:
    """The parent alone: that many files listed, hashed, kept, ranked and told, nothing measured."""
    import multiprocessing

    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(_keep_rows, (count,))


def _keep_rows(count: int) -> dict[str, float]:
    from peak import fresh_peak_mb, peak_mb

    from quirewell.jobs.engine import SerialEngine
    from quirewell.jobs.worker import Answer
    from quirewell.report.survey_page import page, pictured
    from quirewell.stages.collection_ranking import rank, with_places
    from quirewell.stages.collection_rows import write_csv, write_whole
    from quirewell.stages.collection_run import Survey

    class Quick(SerialEngine):
        """Answers with a row as a scan leaves one."""

        def take(self, timeout_s: float) -> tuple[str, Answer] | None:
            key, _, _ = self._waiting.pop(0)
            return key, Answer(_row(int(key)))

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "scans"
        for number in range(count):
            path = folder / f"{number // 1000:03d}" / f"scan-{number:05d}.tif"
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(b"%d" % number)
        idle = fresh_peak_mb()
        began = time.perf_counter()
        asked = Survey(folder, Path(name) / "out")
        table = asked.run(Quick())
        kept = time.perf_counter()
        ranking = rank(table)
        whole = with_places(table, ranking)
        write_whole(Path(name) / "survey.parquet", whole)
        write_csv(Path(name) / "survey.csv", whole)
        text = page(whole, ranking, "scans", asked.pictures(pictured(whole, ranking)))
        told = time.perf_counter()
        again = Survey(folder, Path(name) / "out").run(Quick())
        resumed = time.perf_counter()
        parts = sum(path.stat().st_size for path in (Path(name) / "out/parts").iterdir())
        assert again.num_rows == whole.num_rows == count
        return {
            "keep_s": kept - began, "rank_and_write_s": told - kept, "resume_s": resumed - told,
            "idle_mb": idle, "peak_mb": peak_mb(), "page_kb": len(text) / 1e3,
            "parts_mb": parts / 1e6, "load": os.getloadavg()[0],
        }  # fmt: skip


def _row(number: int) -> dict[str, Any]:
    from quirewell.stages.collection_scan import NUMBERS

    row: dict[str, Any] = {}
    for column in NUMBERS:
        row |= {column: 50.0 + number % 97 / 10, f"{column}_u": 0.3}
    return row | {
        "loss_pct": number % 1013 / 100, "loss_pct_u": 0.05, "tone_L_within_u": 0.4,
        "tone_unseen_pct": 10.0, "tears": number % 7 // 6, "longest_tear_mm": 5.0 + number % 11,
        "longest_tear_mm_u": 0.5, "media": "image/tiff", "picture_width_px": 852,
        "picture_height_px": 1171, "scanner": "", "profile": "", "grey": False,
        "loss_basis": "mm", "tone_basis": "raw",
        "picture": base64.b64encode(os.urandom(_PICTURE_BYTES)).decode("ascii"),
        "leaf_found": True, "scale_source": "strip", "size_says": "", "seconds": 1.0,
        "warnings": ["The file has no colour profile; its values are taken as sRGB."] * 4,
    }  # fmt: skip


if __name__ == "__main__":
    found = _many_rows(50_000) if "rows" in sys.argv else bench()
    for name, row in found.items():
        print(name, row)
