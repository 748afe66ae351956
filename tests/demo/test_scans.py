"""Scans of the Annual: names, tags, both sides of a leaf, and that the truth agrees with itself."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from quirewell.demo.coverage import coverage
from quirewell.demo.difference import ciede2000
from quirewell.demo.publication import (
    COVER_HALF_MM,
    RED_LOSS_DE00,
    WRAP_HALF_MM,
    faded_red,
    ink_on_paper,
    sheet_codes,
    sheet_plan,
)
from quirewell.demo.scans import DrawnSheet, generate, mirrored
from quirewell.demo.truth import Truth
from quirewell.record.nouns import Gathering
from quirewell.science.imaging.strip import NOMINAL_LENGTH_MM

NAME = re.compile(r"(c|w\d\d)-(outer|inner)-(left|right)-(before|after)\.tif")


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Truth, list[tuple[int, int]]]:
    folder = tmp_path_factory.mktemp("annual")
    steps: list[tuple[int, int]] = []
    truth = generate(
        folder,
        dpi=50,
        sheets=("w03", "c"),
        progress=lambda done, total, _: steps.append((done, total)),
    )
    return folder, truth, steps


def test_every_half_wrap_has_a_scan_by_its_documented_name(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    folder, truth, _ = drawn
    names = sorted(path.name for path in (folder / "scans").iterdir())
    assert len(names) == 16
    assert all(NAME.fullmatch(name) for name in names)
    assert names == sorted(truth.scans)


def test_progress_counts_scans(drawn: tuple[Path, Truth, list[tuple[int, int]]]) -> None:
    assert drawn[2] == [(8, 16), (16, 16)]


def test_scans_carry_a_profile_and_the_scanners_wrong_tag(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    folder, truth, _ = drawn
    name = "w03-inner-right-after.tif"
    with Image.open(folder / "scans" / name) as picture:
        assert picture.mode == "RGB"
        assert picture.info["dpi"] == (50.0, 50.0)
        assert "sRGB".encode("utf-16-be") in picture.info["icc_profile"]
    true_um = truth.scans[name].um_per_px_x
    assert true_um / (25400.0 / 50.0) - 1.0 == pytest.approx(0.003, abs=2e-4)


def test_the_same_seed_gives_the_same_bytes(
    drawn: tuple[Path, Truth, list[tuple[int, int]]], tmp_path: Path
) -> None:
    folder, truth, _ = drawn
    again = generate(tmp_path, dpi=50, sheets=("w03",), workers=1)
    for name in again.scans:
        assert (tmp_path / "scans" / name).read_bytes() == (folder / "scans" / name).read_bytes()
        assert again.scans[name] == truth.scans[name]


def test_a_leaf_has_one_size_and_loss_on_both_its_sides(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    scans = drawn[1].scans
    for sheet in ("w03", "c"):
        for panel, other in (("left", "right"), ("right", "left")):
            front = scans[f"{sheet}-outer-{panel}-after.tif"]
            back = scans[f"{sheet}-inner-{other}-after.tif"]
            assert front.width_mm == pytest.approx(back.width_mm, abs=1e-6)
            assert front.height_mm == pytest.approx(back.height_mm, abs=1e-6)
            assert front.loss_mm2 == pytest.approx(back.loss_mm2, abs=1e-6)
            assert {front.fold, back.fold} == {"left", "right"}


def test_both_leaves_together_have_the_paper_of_the_whole_sheet() -> None:
    plan = sheet_plan("c", 1936)
    sheet = DrawnSheet(plan, 40, 1936)
    left, right = (sheet.panel("outer", panel, "before", "dark")[1] for panel in ("left", "right"))
    mask = coverage([6.0 * (p + 2.0) for p in plan.outline.polygons()], 1620, 2400)
    paper_mm2 = mask.sum(dtype=np.float64) / 36.0
    stated = sum(
        leaf.width_mm * leaf.height_mm - leaf.loss_mm2 - leaf.loss_at_fold_mm2
        for leaf in (left, right)
    )
    assert stated == pytest.approx(paper_mm2, abs=1.5)


def test_planted_changes_are_those_of_the_movement(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    for change in drawn[1].changes.values():
        assert change.change_width_pct == pytest.approx(change.stretch_x_pct, abs=0.002)
        assert change.change_height_pct == pytest.approx(change.stretch_y_pct, abs=0.002)
        assert 2.0 < change.paper_dE00 < 7.0


def test_losses_stay_and_tideline_paper_lightens(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    scans = drawn[1].scans
    before, after = scans["w03-outer-left-before.tif"], scans["w03-outer-left-after.tif"]
    assert after.loss_mm2 == pytest.approx(before.loss_mm2, rel=0.02)
    assert after.tone_margin[0] > before.tone_margin[0] + 3.0
    assert after.tone_margin[2] < before.tone_margin[2] - 2.0


def test_only_the_red_lost_colour(drawn: tuple[Path, Truth, list[tuple[int, int]]]) -> None:
    inks = drawn[1].inks
    assert inks["red"].own_dE00 == pytest.approx(RED_LOSS_DE00, abs=0.01)
    assert all(inks[ink].own_dE00 == 0.0 for ink in ("yellow", "blue", "black"))
    paper = sheet_plan("c", 1936).after.centre
    assert ciede2000(
        ink_on_paper(faded_red(paper), paper), inks["red"].after_if_unchanged
    ) == pytest.approx(RED_LOSS_DE00, abs=0.01)


def test_the_strip_is_as_long_as_the_truth_says(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    truth = drawn[1].scans["c-outer-right-before.tif"]
    assert truth.strip is not None
    first, last = (np.array(truth.strip.marks_px[name]) for name in ("first", "last"))
    length_mm = np.hypot(*(last - first)) * truth.um_per_px_x / 1000.0
    assert length_mm == pytest.approx(truth.strip.length_mm, abs=1e-6)
    assert truth.strip.nominal_mm == pytest.approx(NOMINAL_LENGTH_MM)
    assert truth.strip.length_mm < truth.strip.nominal_mm


def test_truth_is_written_beside_the_scans(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    folder, truth, _ = drawn
    written = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert set(written["scans"]) == set(truth.scans)
    assert "least-squares" in written["definition"]


def test_ground_shows_on_three_sides_and_the_sheet_runs_out_at_the_fold(
    drawn: tuple[Path, Truth, list[tuple[int, int]]],
) -> None:
    picture = tifffile.imread(drawn[0] / "scans" / "w03-outer-left-before.tif")[..., 1]
    middle = picture[200:350]
    assert np.median(middle[:, :4]) < 60
    assert np.median(middle[:, -4:]) > 120
    assert np.median(picture[:4]) < 60


def test_sheets_are_those_of_the_gathering() -> None:
    assert sheet_codes() == Gathering(wraps=9).sheets()
    assert sheet_plan("c", 1936).half_mm == COVER_HALF_MM == WRAP_HALF_MM + 2.0


def test_a_mirrored_sheet_mirrored_again_is_the_sheet() -> None:
    outline = sheet_plan("w02", 1936).outline
    twice = mirrored(mirrored(outline, 390.0), 390.0)
    assert [run.edge for run in twice.runs] == [run.edge for run in outline.runs]
    for again, run in zip(twice.polygons(), outline.polygons(), strict=True):
        assert np.allclose(again, run)


def test_unknown_sheets_and_resolutions_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="no sheet 'w12'"):
        generate(tmp_path, sheets=("w12",))
    with pytest.raises(ValueError, match="40 to 1200 dpi, got 20"):
        generate(tmp_path, dpi=20)
