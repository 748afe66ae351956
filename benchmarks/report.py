"""The treatment report: time and memory, against decoding the same files and setting the same
number of pictures without our tables.

Scans at 600 dpi are those of the report's test case at 75 dpi, enlarged eight times by cubic
interpolation, half of them TIFF (deflate, differenced), half JPEG. Peaks are the high-water marks
of this process while it writes, and of the typesetter's process.
"""

from __future__ import annotations

import io
import json
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile
import typst
from peak import fresh_peak_mb, peak_mb
from PIL import Image

from quirewell.report.treatment import write_report
from quirewell.studio.images import load_picture
from quirewell.studio.studio import Studio

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
import report_case

TIMES = 8  # 75 dpi to 600 dpi
FINE_PAIRS = 6
MANY_PAIRS = (99, 199)


class ChildPeak:
    """High-water mark of this process' children while it is open [MiB]."""

    def __enter__(self) -> ChildPeak:
        self.mb, self._open = 0.0, True
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._open = False
        self._thread.join()

    def _watch(self) -> None:
        while self._open:
            for task in Path("/proc/self/task").glob("*/children"):
                for child in _read(task).split():
                    for line in _read(Path(f"/proc/{child}/status")).splitlines():
                        if line.startswith("VmHWM"):
                            self.mb = max(self.mb, float(line.split()[1]) / 1024)
            time.sleep(0.02)


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii", errors="replace")
    except OSError:
        return ""


def enlarged(data: bytes, as_jpeg: bool) -> bytes:
    """A scan of the test case at 600 dpi."""
    small = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    large = cv2.resize(small, None, fx=TIMES, fy=TIMES, interpolation=cv2.INTER_CUBIC)
    out = io.BytesIO()
    dpi = report_case.DPI * TIMES
    if as_jpeg:
        Image.fromarray(large).save(out, "JPEG", quality=92, dpi=(dpi, dpi))
    else:
        tifffile.imwrite(
            out, large, photometric="rgb", compression="zlib", predictor=True, rowsperstrip=64,
            resolution=(dpi, dpi), resolutionunit="INCH",
        )  # fmt: skip
    return out.getvalue()


def fine_studio(folder: Path) -> Studio:
    """The test case with its scans at 600 dpi, its measurements put on them."""
    studio: Studio = report_case.report_studio(folder, pairs=0)
    for index, place in enumerate(("c.outer.right", "c.outer.left", *(
        f"w{wrap:02d}.outer.{side}" for wrap in range(1, 9) for side in ("left", "right")
    ))[:FINE_PAIRS]):  # fmt: skip
        taken = []
        for moment, turn in (("before", 0), ("after", 6)):
            data = enlarged(report_case.scan_bytes(index, turn), as_jpeg=index % 2 == 1)
            id = f"{place.replace('.', '-')}-{moment}"
            with Image.open(io.BytesIO(data)) as opened:
                Image.MAX_IMAGE_PIXELS = None
                size = opened.size
            sha = studio.blobs.put(io.BytesIO(data))
            ending = "jpg" if index % 2 else "tif"
            capture = report_case.nouns.Capture(
                id, sha, f"{id}.{ending}", "image/jpeg" if index % 2 else "image/tiff", *size,
                len(data), resolution_dpi=600.0, moment=moment, place=place,
            )  # fmt: skip
            report_case.add(studio, "annual", ("capture.added", capture))
            run = report_case.measured(capture, 168.0, turn, 24.0)
            outline = " ".join(
                ",".join(str(TIMES * int(x)) for x in point.split(","))
                for point in run.drawing["outline"].split()
            )
            findings = tuple(
                replace(one, value=one.value / TIMES) if one.quantity == "scale.um_per_px" else one
                for one in run.findings
            )
            run = replace(run, drawing={"outline": outline}, findings=findings)
            report_case.add(studio, "annual", ("run.recorded", run))
            taken.append(capture)
        pair = report_case.compared(taken[0], taken[1], 0.01, "unchanged", 6 * TIMES)
        report_case.add(studio, "annual", ("run.recorded", pair))
    return studio


def timed(work: Callable[[], Any]) -> dict[str, float]:
    """Seconds of the clock and of the processor (children's too are in the clock), and peaks."""
    before = fresh_peak_mb()
    start = time.perf_counter()
    with ChildPeak() as child:
        work()
    return {
        "seconds": round(time.perf_counter() - start, 2),
        "peak_mib": round(peak_mb()),
        "held_before_mib": round(before),
        "typesetter_peak_mib": round(child.mb),
    }


def plain_pictures(studio: Studio, folder: Path) -> Callable[[], None]:
    """The peer: each file decoded whole and shrunk plainly, then set by typst with nothing else."""

    def work() -> None:
        names = []
        for at, capture in enumerate(studio.state("annual").captures.values()):
            pixels = np.asarray(load_picture(studio.blobs.path(capture.sha256)).pixels, np.uint8)
            image = Image.fromarray(pixels)
            image.thumbnail((676, 676))
            image.save(folder / f"{at}.jpg", quality=86)
            names.append(f'#image("{at}.jpg", width: 37mm)')
        (folder / "plain.typ").write_text("\n".join(names), encoding="utf-8")
        typst.compile(folder / "plain.typ", root=folder)

    return work


def bench() -> dict[str, object]:
    """All figures, for results.json."""
    out: dict[str, object] = {"scans_600dpi": 2 * FINE_PAIRS, "load_before": os.getloadavg()[0]}
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with fine_studio(folder / "fine") as studio:
            first = timed(lambda: write_report(studio, "annual", folder / "r.pdf"))
            again = timed(lambda: write_report(studio, "annual", folder / "r.pdf"))
            plain = timed(plain_pictures(studio, folder))
        out["fine"] = {
            "first": first, "from_kept_plates": again, "plain_peer": plain,
            "first_over_peer": round(first["seconds"] / plain["seconds"], 2),
        }  # fmt: skip
        for pairs in MANY_PAIRS:
            many = folder / f"many{pairs}"
            with report_case.report_studio(many, pairs=pairs, wraps=50) as studio:
                ours = timed(lambda: write_report(studio, "annual", many / "r.pdf"))  # noqa: B023
                plain = timed(plain_pictures(studio, many))
                numbers = len(json.loads((many / "r.json").read_text())["numbers"])
            out[f"pictures_{2 * pairs + 2}"] = {
                "ours": ours, "plain_peer": plain, "numbers": numbers,
                "pdf_mb": round((many / "r.pdf").stat().st_size / 1e6, 1),
                "over_peer": round(ours["seconds"] / plain["seconds"], 2),
            }  # fmt: skip
    return out


if __name__ == "__main__":
    print(json.dumps(bench(), indent=2))
