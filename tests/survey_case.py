"""Small scans with planted truth for tests of a survey, and its rows as they are compared."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import tifffile

from quirewell.demo.scenes import render_leaf
from quirewell.demo.tone import Ageing
from quirewell.demo.truth import LeafTruth

DPI = 100
COMMAND = (sys.executable, "-c", "from quirewell.cli.main import main; main()")
# Differ from run to run.
_CHANCE = ("seconds",)


def scan(seed: int, dark: float = 0.0, **more: Any) -> tuple[np.ndarray, LeafTruth]:
    """An unprinted leaf of 55 x 75 mm at 100 dpi, with ground round it; ``dark`` [L*] darker."""
    ageing = Ageing((80.0 - dark, 5.0, 22.0), (70.0 - dark, 8.0, 27.0))
    pixels, truth = render_leaf(
        seed, DPI, strip=False, width_mm=52 + seed % 9, height_mm=72 + seed % 7,
        scale_error=0.0, printed=False, ageing=ageing, **more,
    )  # fmt: skip
    corners = np.array(truth.corners_px)
    x0, y0 = np.maximum(corners.min(0) - 18, 0).astype(int)
    x1, y1 = (corners.max(0) + 18).astype(int)
    return np.ascontiguousarray(pixels[y0:y1, x0:x1]), truth


def write(path: Path, pixels: np.ndarray, dpi: float = DPI) -> Path:
    """Pixels as a TIFF that says its resolution."""
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(dpi, dpi), resolutionunit=2)
    return path


def folder_of(folder: Path, count: int) -> Path:
    """So many scans, each another leaf."""
    for seed in range(count):
        write(folder / f"scan-{seed:02d}.tif", scan(seed)[0])
    return folder


def rows(out: Path) -> list[dict[str, Any]]:
    """The rows of a finished survey, without what differs from run to run."""
    table = pq.read_table(out / "survey.parquet")
    return [{k: v for k, v in row.items() if k not in _CHANCE} for row in table.to_pylist()]


def command(*words: Any, **more: Any) -> subprocess.Popen[str]:
    """``quirewell survey`` in a process group of its own."""
    return subprocess.Popen(
        [*COMMAND, "survey", *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, start_new_session=True, **more,
    )  # fmt: skip


def finish(process: subprocess.Popen[str]) -> str:
    """What the command printed, once it ended well."""
    out, err = process.communicate(timeout=300)
    assert process.returncode == 0, err
    return out
