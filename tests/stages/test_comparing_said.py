"""What a comparison says of pairs that were scanned badly: no false change, and why."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from quirewell.demo.scans import write_scan
from quirewell.demo.scenes import render_pair
from quirewell.record.finding import Run
from quirewell.stages.methods import run_method

Picture = NDArray[np.uint8]
DPI = 100


@pytest.fixture(scope="module")
def pair() -> tuple[Picture, Picture, Any]:
    return render_pair(31, DPI, width_mm=150.0, height_mm=200.0, change_width_pct=0.2, dE=5.0)


def compared(folder: Path, before: Picture, after: Picture, dpi_after: float = DPI) -> Run:
    write_scan(folder / "before.tif", before, DPI)
    write_scan(folder / "after.tif", np.ascontiguousarray(after), dpi_after)
    files = {role: folder / f"{role}.tif" for role in ("before", "after")}
    return run_method("pair.compare", "w01.outer.left", files, params={})


def told(run: Run, what: str) -> list[str]:
    return [
        finding.text
        for finding in run.findings
        if finding.quantity.startswith("ink.") and what in finding.text
    ]


def value_of(run: Run, quantity: str) -> tuple[float, float]:
    finding = next(f for f in run.findings if f.quantity == quantity)
    assert finding.value is not None and finding.u is not None
    return finding.value, finding.u


def test_a_plain_pair_gives_no_warning(pair: tuple[Picture, Picture, Any], tmp_path: Path) -> None:
    run = compared(tmp_path, *pair[:2])
    assert run.warnings == ()
    assert not told(run, "cannot tell")


def test_a_sharpened_scan_is_named_and_neither_size_nor_ink_is_called_changed(
    pair: tuple[Picture, Picture, Any], tmp_path: Path
) -> None:
    before, after, truth = pair
    plane = after.astype(np.float32)
    sharp = np.clip(2 * plane - cv2.GaussianBlur(plane, (0, 0), 1.2), 0, 255).astype(np.uint8)
    run = compared(tmp_path, before, sharp)
    assert any("sharpened by the scanner's program" in says for says in run.warnings)
    for axis, true in (("width", truth.change_width_pct), ("height", truth.change_height_pct)):
        value, u = value_of(run, f"change.{axis}_pct")
        assert abs(value - true) < 2 * u
    assert "changed" not in next(f.text for f in run.findings if f.quantity == "verdict")
    assert told(run, "cannot tell: one of the two scans was sharpened or softened")
    assert not told(run, "gained") and not told(run, "lost") and not told(run, "bled")


def test_a_descreened_scan_is_named_and_no_ink_is_called_lost_or_bled(
    pair: tuple[Picture, Picture, Any], tmp_path: Path
) -> None:
    before, after, _ = pair
    run = compared(tmp_path, before, cv2.GaussianBlur(after, (0, 0), 1.6).astype(np.uint8))
    assert any("descreened" in says for says in run.warnings)
    assert told(run, "cannot tell: one of the two scans was sharpened or softened")
    assert not told(run, "lost") and not told(run, "bled")


def test_a_hand_over_the_print_is_told_with_its_place(
    pair: tuple[Picture, Picture, Any], tmp_path: Path
) -> None:
    before, after, _ = pair
    covered = after.copy()
    middle = covered.shape[1] // 2, covered.shape[0] // 2
    cv2.ellipse(covered, middle, (110, 70), 20, 0, 360, (196, 150, 128), -1, cv2.LINE_AA)
    run = compared(tmp_path, before, covered)
    (says,) = (says for says in run.warnings if "a hand, glare, a mend" in says)
    um = 25.4 / DPI
    x, y = (float(number) for number in re.findall(r"(\d+) mm from", says))
    assert abs(x - um * middle[0]) < 25 and abs(y - um * middle[1]) < 25


def test_half_a_page_is_told_as_that(pair: tuple[Picture, Picture, Any], tmp_path: Path) -> None:
    before, after, _ = pair
    run = compared(tmp_path, before, after[: after.shape[0] // 2])
    (says,) = (says for says in run.warnings if "is seen in the second" in says)
    assert 45 < float(says.removeprefix("Only ").split(" %")[0]) < 80


def test_another_resolution_is_no_other_place_on_the_glass(
    pair: tuple[Picture, Picture, Any], tmp_path: Path
) -> None:
    before, after, truth = pair
    larger = cv2.resize(after, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC)
    run = compared(tmp_path, before, larger.astype(np.uint8), 1.5 * DPI)
    width = next(f for f in run.findings if f.quantity == "change.width_pct")
    basis = next(term.basis for term in width.terms if term.name == "scanner")
    assert float(basis.split("laid ")[1].split(" mm")[0]) <= 4
    value, u = value_of(run, "change.width_pct")
    assert abs(value - truth.change_width_pct) < 2 * u


def test_a_quarter_turn_is_told_in_plain_words(
    pair: tuple[Picture, Picture, Any], tmp_path: Path
) -> None:
    before, after, _ = pair
    run = compared(tmp_path, before, np.rot90(after))
    assert any("lies a quarter turn round in the second picture" in says for says in run.warnings)
