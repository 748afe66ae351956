"""The demo's planted ink loss is found, and nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from quirewell.demo.publication import sheet_plan
from quirewell.demo.scans import DrawnSheet, write_scan
from quirewell.demo.truth import InkTruth
from quirewell.record.finding import Run
from quirewell.science.colour.spaces import SRGB_TO_XYZ_D50
from quirewell.science.colour.target_use import TargetUse
from quirewell.science.imaging.paper_change import LightChange
from quirewell.stages.comparing import METHOD, as_json
from quirewell.stages.comparing_inks import compare_inks, inks_json
from quirewell.stages.methods import run_method
from quirewell.stages.pair_pictures import Pair, open_pair

DPI = 100


def scans(folder: Path, drawn: DrawnSheet, side: str, panel: str) -> dict[str, Path]:
    files = {}
    for moment in ("before", "after"):
        files[moment] = folder / f"{side}-{panel}-{moment}.tif"
        write_scan(files[moment], drawn.panel(side, panel, moment, "dark")[0], DPI)
    return files


@pytest.fixture(scope="module")
def cover(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, dict[str, InkTruth], Pair]:
    drawn = DrawnSheet(sheet_plan("c", 1936), DPI, 1936)
    files = scans(tmp_path_factory.mktemp("cover"), drawn, "outer", "right")
    return run_method(METHOD, "c.outer.right", files), drawn.ink_truth(), open_pair(files, {})


@pytest.fixture(scope="module")
def inks(cover: tuple[Run, dict[str, InkTruth], Pair]) -> dict[str, dict[str, Any]]:
    return {entry["name"]: entry for entry in inks_json(cover[0])}


def test_the_planted_loss_of_the_red_is_found_with_its_size(
    cover: tuple[Run, dict[str, InkTruth], Pair], inks: dict[str, dict[str, Any]]
) -> None:
    red, truth = inks["red ink"], cover[1]["red"]
    assert truth.own_dE00 > 2
    assert red["verdict"].startswith("lost")
    assert red["dE00"]["value"] == pytest.approx(truth.own_dE00, abs=2 * red["dE00"]["u"])
    for key, lab in (("Lab_before", truth.before), ("Lab_after", truth.after)):
        assert red[key] == pytest.approx(lab, abs=1.2)


def test_no_other_ink_is_called_changed(inks: dict[str, dict[str, Any]]) -> None:
    others = {name: entry["verdict"] for name, entry in inks.items() if name != "red ink"}
    assert {"yellow ink", "blue ink", "dark ink", "fine print"} <= set(others)
    for verdict in others.values():
        assert "lost" not in verdict and "gained" not in verdict and "bled" not in verdict
        assert "no change greater than" in verdict or "no difference" in verdict


def test_every_ink_names_the_smallest_change_it_would_have_shown(
    inks: dict[str, dict[str, Any]],
) -> None:
    for entry in inks.values():
        assert 0.3 < entry["dE00"]["smallest_seen"] < 6
        assert entry["dE00"]["u"] > 0 and entry["dE00"]["low90"] < entry["dE00"]["high90"]
        assert entry["places"] >= 1 and entry["area_mm2"]["value"] >= 1


def test_the_json_keeps_its_old_keys_beside_the_inks(
    cover: tuple[Run, dict[str, InkTruth], Pair],
) -> None:
    out = as_json(cover[0])
    assert set(out["change"]) >= {"width_pct", "height_pct"} and "dE00" in out["paper"]
    assert not [key for key in out["paper"] if "ink" in key]
    assert next(entry["key"] for entry in out["inks"]) == "red_ink"


def test_boxes_show_where_each_ink_was_measured(
    cover: tuple[Run, dict[str, InkTruth], Pair],
) -> None:
    drawing = cover[0].drawing
    width, height = (int(side) for side in drawing["before_size_px"].split())
    groups = dict(part.split(":") for part in drawing["inks"].split(";"))
    assert "fine_print" not in groups and set(groups) >= {"red_ink", "yellow_ink", "blue_ink"}
    for boxes in groups.values():
        for box in boxes.split():
            x, y, w, h = (int(side) for side in box.split(","))
            assert 0 <= x < x + w <= width + 2 and 0 <= y < y + h <= height + 2


def test_a_strip_that_shows_another_exposure_withholds_the_verdicts(
    cover: tuple[Run, dict[str, InkTruth], Pair],
) -> None:
    found = compare_inks(cover[2], LightChange(6.0, 1.1, 0.0, True))
    verdicts = [entry.text for entry in found.findings if entry.quantity.endswith(".verdict")]
    assert verdicts and all("cannot tell" in text for text in verdicts)


def test_a_slight_change_of_light_is_taken_out_first(
    cover: tuple[Run, dict[str, InkTruth], Pair],
) -> None:
    found = compare_inks(cover[2], LightChange(1.0, 1.02, 0.0, True))
    by_name = {entry.quantity: entry for entry in found.findings}
    assert by_name["ink.red_ink.dE00"].value == pytest.approx(2.4, abs=0.4)


def test_a_fitted_target_carries_the_inks_colours_and_its_error(
    cover: tuple[Run, dict[str, InkTruth], Pair],
) -> None:
    plain = {one.quantity: one for one in compare_inks(cover[2], None).findings}
    use = TargetUse("linear", 0.9 * SRGB_TO_XYZ_D50, (0.5, 0.6, 0.7))
    found = {one.quantity: one for one in compare_inks(cover[2], None, use).findings}
    for moment in ("before", "after"):
        own, carried = (entries[f"ink.red_ink.L_{moment}"] for entries in (plain, found))
        assert carried.value == pytest.approx((own.value + 16) * 0.9 ** (1 / 3) - 16, abs=0.05)
        assert carried.u > 2.0 > own.u
        assert "fitted target" in carried.note and "scanner sees" in own.note


def test_fine_print_says_how_much_of_the_paper_each_ink_covers(
    cover: tuple[Run, dict[str, InkTruth], Pair], inks: dict[str, dict[str, Any]]
) -> None:
    told = inks["fine print"]["cover"]
    assert {"dark_ink", "blue_ink"} <= set(told)
    for band in told.values():
        assert abs(band["value"]) < 2 * band["u"] and 0.2 < band["smallest_seen"] < 8
    finding = next(f for f in cover[0].findings if f.quantity == "ink.fine_print.cover.dark_ink")
    assert finding.u == pytest.approx(sum(term.u**2 for term in finding.terms) ** 0.5)
    assert "by its solids before treatment" in finding.note
    assert inks["red ink"]["cover"] == {}
