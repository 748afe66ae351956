"""Your scanner, a board, and each page found again by its print, on planted pictures.

No peer: the judges are what was planted. Scanner errors: 200 random scanners (scale 0.2 %,
square 1 mrad, field of 30 um coefficients, printer's aspect 0.3 %, points 20 um) from the
strip in four places. Board: 40 scans of 48 corners at 300 dpi. Pages: the demo's 40 pages at
100 dpi before and after, each also looked for with its own page taken away.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

TESTS = Path(__file__).parents[1] / "tests"


def bench() -> dict[str, Any]:
    """Coverage and size of the uncertainties, ppm of the board, pages found and mistaken."""
    sys.path[:0] = [str(TESTS), str(TESTS / "science" / "imaging")]
    return {
        "strip in four places": _scanners(), "board": _boards(), "pages": _pages(),
        "load": {"at_the_end": os.getloadavg()[0]},
    }  # fmt: skip


def _scanners() -> dict[str, float]:
    from test_scanner_geometry import FOUR, STRIP, Planted, run

    misses, sizes, left, real = [], [], [], []
    for seed in range(200):
        planted = Planted(1000 + seed, STRIP, FOUR)
        found = run(planted)
        u = np.sqrt(np.diag(found.covariance))
        misses.append(np.abs([found.scale_x, found.scale_y] - planted.scale) / u)
        sizes.append(100 * u)
        left.append(found.length_u_um)
        real.append(np.mean(planted.length_errors_um() ** 2))
    return {
        "scale_u_pct_median": float(np.median(sizes)),
        "scale_inside_1.96u_pct": float(100 * np.mean(np.array(misses) <= 1.96)),
        "length_u_um_median": float(np.median(left)),
        "length_error_rms_um": float(np.sqrt(np.mean(real))),
        "unchecked_length_u_um": 240 / np.sqrt(3),
    }


def _boards() -> dict[str, float]:
    from test_charuco import BOARD, scanned

    from quirewell.science.imaging.charuco import find_board

    errors, said, residual, seconds = [], [], [], []
    for seed in range(40):
        picture = scanned(float(np.random.default_rng(seed).uniform(-4, 4)) + 90 * (seed % 4),
                          (1e-3, -2e-3), seed)  # fmt: skip
        start = time.perf_counter()
        found = find_board(picture, BOARD)
        seconds.append(time.perf_counter() - start)
        assert found is not None
        seen = np.array([found.um_per_px_x / 1.001, found.um_per_px_y / 0.998]) / (25400 / 300)
        errors.append(1e6 * (seen - 1))
        said.append(1e6 * np.sqrt(np.diag(found.covariance)))
        residual.append(found.residual_px)
    return {
        "scale_error_rms_ppm": float(np.sqrt(np.mean(np.square(errors)))),
        "scale_error_worst_ppm": float(np.abs(errors).max()),
        "u_said_ppm": float(np.mean(said)),
        "corner_residual_px": float(np.mean(residual)),
        "seconds": float(np.median(seconds)),
    }


def _pages() -> dict[str, float]:
    import cv2

    from quirewell.demo.scans import generate
    from quirewell.science.imaging.same_page import PageIndex, SamePage, find_page, page_marks
    from quirewell.studio.images import load_picture

    marks: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        generate(Path(folder), dpi=100)
        start = time.perf_counter()
        for path in sorted((Path(folder) / "scans").glob("[cw]*.tif")):
            grey = cv2.cvtColor(load_picture(path).pixels, cv2.COLOR_RGB2GRAY)
            marks[path.stem] = page_marks(np.asarray(grey, np.uint8))
        marks_s = time.perf_counter() - start
    before = {key: one for key, one in marks.items() if key.endswith("before")}
    after = {key: one for key, one in marks.items() if key.endswith("after")}
    index = PageIndex(before)
    start = time.perf_counter()
    found = {key: find_page(one, index) for key, one in after.items()}
    found_s = time.perf_counter() - start
    own = {key: key.replace("after", "before") for key in after}
    right = sum(isinstance(one, SamePage) and one.key == own[key] for key, one in found.items())
    mistaken = 0
    for key, one in after.items():
        others = index.among([other for other in before if other != own[key]])
        mistaken += isinstance(find_page(one, others), SamePage)
    return {
        "pages": len(after),
        "found": right,
        "mistaken_when_its_own_is_missing": mistaken,
        "seconds_to_know_a_page": marks_s / len(marks),
        "seconds_to_find_a_page_among_40": found_s / len(after),
    }
