"""The bench's known greys as exposure reference of a comparison: planted tone curves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from quirewell.demo import scenes
from quirewell.demo.scans import write_scan
from quirewell.record.bench import BenchState, StripGreys
from quirewell.record.finding import Finding
from quirewell.record.nouns import Item, ItemState
from quirewell.science.colour.exposure import KnownGreys, greys_text
from quirewell.science.colour.spaces import lab_from_srgb, linear_from_srgb, srgb_from_linear
from quirewell.science.imaging.strip import GREYS
from quirewell.stages.comparing import as_json, read_params
from quirewell.stages.methods import run_method
from quirewell.stages.survey import compare_params

DPI = 100
DRAWN = tuple(
    float(value)
    for value in lab_from_srgb(np.repeat(np.array(GREYS)[:, None] / 255.0, 3, axis=1))[:, 0]
)
INSTRUMENT = greys_text(KnownGreys(DRAWN, 0.3, True))
SCAN = greys_text(KnownGreys(DRAWN, 0.3, False))
# What both scans did to light: a tone curve that is not sRGB's, and a dimmer lamp afterwards.
BEFORE, AFTER = (0.97, 0.003, 1.3), (0.93, 0.004, 1.29)


def curved(pixels: Any, curve: tuple[float, float, float]) -> Any:
    gain, offset, power = curve
    light = offset + gain * linear_from_srgb(pixels / 255.0) ** power
    return np.clip(np.round(255 * srgb_from_linear(light)), 0, 255).astype(np.uint8)


def files(folder: Path, before: Any, after: Any) -> dict[str, Path]:
    out = {}
    for role, picture in (("before", before), ("after", after)):
        out[role] = folder / f"{role}.tif"
        write_scan(out[role], picture, DPI)
    return out


def found(pictures: dict[str, Path], **params: str) -> dict[str, Finding]:
    run = run_method("pair.compare", "w01.outer.left", pictures, params=params)
    return {finding.quantity: finding for finding in run.findings}


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Path], Any]:
    before, after, truth = scenes.render_pair(31, DPI, width_mm=150.0, height_mm=200.0)
    folder = tmp_path_factory.mktemp("curved")
    write_scan(folder / "plain-before.tif", before, DPI)
    write_scan(folder / "plain-after.tif", after, DPI)
    return files(folder, curved(before, BEFORE), curved(after, AFTER)), truth


@pytest.fixture(scope="module")
def by_source(scanned: tuple[dict[str, Path], Any]) -> dict[str, dict[str, Finding]]:
    greys = {"none": "", "instrument": INSTRUMENT, "scan": SCAN}
    return {
        name: found(scanned[0], **({"greys": text} if text else {})) for name, text in greys.items()
    }


def planted_dL(truth: Any) -> float:
    return float(truth.after.tone_median[0] - truth.before.tone_median[0])


def terms(finding: Finding) -> dict[str, float]:
    return {term.name: term.u for term in finding.terms}


def test_the_planted_change_of_lightness_comes_back_through_the_known_greys(
    scanned: tuple[dict[str, Path], Any], by_source: dict[str, dict[str, Finding]]
) -> None:
    folder = scanned[0]["before"].parent
    plain = found({role: folder / f"plain-{role}.tif" for role in ("before", "after")})["paper.dL"]
    known, unknown = (by_source[name]["paper.dL"] for name in ("instrument", "none"))
    assert abs(known.value - planted_dL(scanned[1])) < 2 * known.u
    assert known.value == pytest.approx(plain.value, abs=0.2)
    assert abs(unknown.value - plain.value) > 0.3
    de00 = by_source["instrument"]["paper.dE00"]
    assert de00.value == pytest.approx(scanned[1].paper_dE00, abs=2 * de00.u)


def test_measured_exposure_leaves_less_doubt_than_an_assumed_share(
    by_source: dict[str, dict[str, Finding]],
) -> None:
    light = {name: terms(entry["paper.dE00"])["light"] for name, entry in by_source.items()}
    assert max(light["instrument"], light["scan"]) < 0.8 * light["none"]
    assert by_source["instrument"]["paper.dE00"].u < by_source["none"]["paper.dE00"].u


def test_each_scans_exposure_is_said_against_the_known_greys(
    by_source: dict[str, dict[str, Finding]],
) -> None:
    for role, curve in (("before", BEFORE), ("after", AFTER)):
        read = lab_from_srgb(np.repeat(curved(np.array(GREYS), curve)[:, None] / 255.0, 3, axis=1))[
            :, 0
        ]
        shift = by_source["instrument"][f"exposure.{role}_dL"]
        assert shift.value == pytest.approx(float(np.mean(read - DRAWN)), abs=2 * shift.u)
        assert "power 1." in shift.note and "brought to the known greys" in shift.note
    assert "exposure of the before scan" in by_source["scan"]["exposure.after_dL"].note
    assert not [name for name in by_source["none"] if name.startswith("exposure")]


def test_an_exposure_that_moved_too_far_still_gives_no_colour_verdict(
    scanned: tuple[dict[str, Path], Any], tmp_path: Path
) -> None:
    before, after, _ = scenes.render_pair(31, DPI, width_mm=150.0, height_mm=200.0)
    pictures = files(tmp_path, before, curved(after, (0.85, 0.0, 1.0)))
    run = run_method("pair.compare", "w01", pictures, params={"greys": INSTRUMENT})
    out = {finding.quantity: finding for finding in run.findings}
    assert out["paper.dE00"].value is None and "withheld" in out["paper.dE00"].text
    assert as_json(run)["exposure"]["after_dL"]["value"] < -3
    inks = [text.text for name, text in out.items() if name.endswith(".verdict")]
    assert all("cannot tell" in text for text in inks)


def test_a_pair_is_told_the_greys_of_the_bench() -> None:
    greys = StripGreys("g", (20, 35, 50, 65, 80, 92), 0.3, "instrument")
    state = ItemState("annual", 0, Item("Copperbeck Garden Annual"))
    params = compare_params(state, None, BenchState(strip_greys={"g": greys}))
    assert params["greys"] == "20 35 50 65 80 92 | 0.3 | instrument"
    assert "greys" not in compare_params(state, None, BenchState())


def test_greys_that_cannot_be_read_are_refused() -> None:
    with pytest.raises(ValueError, match="six lightnesses"):
        read_params({"greys": "20 35 50"})
