"""Light and paper told apart by a whole comparison: planted scenes with a strip beside the leaf."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from quirewell.demo.scans import write_scan
from quirewell.demo.scenes import render_pair
from quirewell.record.finding import Finding
from quirewell.science.colour.spaces import (
    lab_from_linear,
    linear_from_lab,
    linear_from_srgb,
    srgb_from_linear,
)
from quirewell.stages.light_lines import OPEN, TOLD, TOO_FAR, light_line
from quirewell.stages.methods import run_method

DPI = 75
LEAF = {"width_mm": 120.0, "height_mm": 160.0}


def lit(pixels: Any, gain: float) -> Any:
    """The scan as a lamp ``gain`` times as bright would have given it."""
    light = gain * linear_from_srgb(pixels / 255.0)
    return np.clip(np.round(255 * srgb_from_linear(np.clip(light, 0, 1))), 0, 255).astype(np.uint8)


def compared(folder: Path, before: Any, after: Any):  # type: ignore[no-untyped-def]
    files = {role: folder / f"{role}.tif" for role in ("before", "after")}
    for role, pixels in (("before", before), ("after", after)):
        write_scan(files[role], pixels, DPI)
    return run_method("pair.compare", "w01.outer.left", files)


def found(run: Any) -> dict[str, Finding]:
    return {one.quantity: one for one in run.findings}


def close(one: Finding, planted: float) -> bool:
    assert one.value is not None and one.u is not None
    return abs(one.value - planted) <= 2 * one.u


@pytest.mark.parametrize(
    ("seed", "dE", "gain"),
    [(1, 0.0, 0.95), (2, 0.0, 0.97), (3, 4.0, 1.0), (4, 2.5, 1.0), (5, 4.0, 0.95), (6, 3.0, 0.96)],
    ids=["light", "less light", "paper", "less paper", "both", "both, less"],
)
def test_planted_light_and_paper_come_back_within_twice_u(
    tmp_path: Path, seed: int, dE: float, gain: float
) -> None:
    before, after, truth = render_pair(seed, DPI, dE=dE, **LEAF)
    tones = [np.asarray(one.tone_median) for one in (truth.before, truth.after)]
    paper = float(tones[1][0] - tones[0][0])
    light = float(lab_from_linear(gain * linear_from_lab(tones[1]))[0] - tones[1][0])
    run = compared(tmp_path, before, lit(after, gain))
    parts = found(run)
    assert close(parts["light.dL"], light), (parts["light.dL"], light)
    assert close(parts["paper.dL"], paper), (parts["paper.dL"], paper)
    raw, rest = parts["paper.raw_dL"].value, parts["paper.dL"].value
    assert raw == pytest.approx((parts["light.dL"].value or 0) + (rest or 0), abs=1e-9)
    assert light_line(run, "w01.outer.left", "Page").word == TOLD


def test_without_a_strip_nothing_is_split_and_too_much_light_is_not_either(tmp_path: Path) -> None:
    before, after, _ = render_pair(7, DPI, strip=False, **LEAF)
    parts = found(run := compared(tmp_path, before, lit(after, 0.95)))
    assert "paper.raw_dL" in parts and "light.dL" not in parts
    assert light_line(run, "w01", "Page").word == OPEN
    before, after, _ = render_pair(7, DPI, **LEAF)
    parts = found(run := compared(tmp_path, before, lit(after, 0.75)))
    assert "paper.raw_dL" in parts and "light.dL" not in parts and "paper.dL" not in parts
    assert light_line(run, "w01", "Page").word == TOO_FAR
