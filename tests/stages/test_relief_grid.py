"""Raking pictures laid on a scan: the camera may stand turned, the slopes may not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quirewell.stages.relief_grid import NotLaid, laid_on
from quirewell.stages.relieving import known_part, solve
from raked_studio import LAMPS, raked, raking_files, roles


@pytest.mark.parametrize(("degrees", "scale"), [(0.0, 1.0), (8.0, 0.9), (90.0, 0.8), (-30.0, 0.75)])
def test_height_on_the_scan_is_the_planted_height_however_the_camera_stood(
    tmp_path: Path, degrees: float, scale: float
) -> None:
    folder = raking_files(tmp_path, degrees, scale)
    truth = raked()[0].height_mm
    files = {**roles(folder), "grid": folder / "scan.tif"}
    solved = solve(files, {"lamps": (folder / "lights.csv").read_text()})
    assert solved.on_grid and solved.relief is not None and solved.relief.height is not None
    assert solved.px_mm == pytest.approx(0.25, rel=2e-3)
    assert solved.relief.height.shape == truth.shape
    known = known_part(solved)
    known[:20], known[-20:], known[:, :20], known[:, -20:] = False, False, False, False
    assert known.mean() > 0.4
    off_um = 1000 * plane_free(solved.relief.height - truth, known)
    assert float(np.sqrt(np.mean(off_um**2))) < 3.0


def plane_free(values: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Values at known pixels less their plane and bowl (lamps near the sheet leave a little)."""
    y, x = np.nonzero(known)
    x, y = x / 200 - 1, y / 200 - 1
    terms = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    left: np.ndarray = values[known] - terms @ np.linalg.lstsq(terms, values[known], rcond=None)[0]
    return left


def test_the_scale_of_the_scan_goes_before_that_of_the_pictures(tmp_path: Path) -> None:
    folder = raking_files(tmp_path)
    files = {**roles(folder), "grid": folder / "scan.tif"}
    lamps = (folder / "lights.csv").read_text()
    solved = solve(files, {"lamps": lamps, "grid_um_per_px": "254"})
    assert solved.px_mm == pytest.approx(0.254)


def test_pictures_of_another_sheet_are_not_laid(tmp_path: Path) -> None:
    mine, _ = raked(1)
    _, other = raked(2)
    with pytest.raises(NotLaid, match="cannot be laid on"):
        laid_on(other, mine.images[:LAMPS], None, ())


@pytest.mark.parametrize("text", ["wide", "0", "nan", "1e9"])
def test_a_scale_that_cannot_be_is_a_sentence(tmp_path: Path, text: str) -> None:
    folder = raking_files(tmp_path)
    files = {**roles(folder), "grid": folder / "scan.tif"}
    lamps = (folder / "lights.csv").read_text()
    with pytest.raises(ValueError, match="grid_um_per_px must be a number"):
        solve(files, {"lamps": lamps, "grid_um_per_px": text})
