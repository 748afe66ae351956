"""A scanner calibrated from real pictures of the strip, a board and a rule."""

from __future__ import annotations

import numpy as np
import pytest

from quirewell.record.bench import EMPTY_BENCH
from quirewell.record.nouns import Capture
from quirewell.science.imaging.charuco import Board
from quirewell.stages import bench as stage
from quirewell.stages.bench_params import scanner_pair_params, scanner_params, scanner_words
from quirewell.stages.methods import run_method
from quirewell.stages.refusal import Refusal
from quirewell.studio.studio import STUDIO
from scanner_scans import (
    FOUR_PLACES,
    board_picture,
    scan_of,
    strip_picture,
    write_scan,
)
from studio_help import new_studio

DPI = 100.0
PLANTED = (0.0021, -0.0034)
LENGTH = {"strip_length_mm": "159.81", "strip_length_u_mm": "0.03"}


@pytest.fixture(scope="module")
def strips(tmp_path_factory):
    """The strip, printed a little small, on a glass that draws 0.21 % and -0.34 % off."""
    folder = tmp_path_factory.mktemp("strips")
    picture, size = strip_picture(159.81 / 160)
    return [
        write_scan(
            folder / f"s{index}.tif", scan_of(picture, size, place, DPI, PLANTED, index), DPI,
            "Larkmoor", "Larkmoor F2",
        )
        for index, place in enumerate(FOUR_PLACES)
    ]  # fmt: skip


def calibrated(files, **params):
    roles = {f"scan{index}": path for index, path in enumerate(files, 1)}
    run = run_method("scanner.calibrate", "scanner", roles, params=params)
    return run, {finding.quantity: finding for finding in run.findings}


def test_the_basic_kit_finds_both_scale_errors(strips):
    run, found = calibrated(strips, **LENGTH)
    for name, true in (("scanner.scale_x_pct", 0.21), ("scanner.scale_y_pct", -0.34)):
        assert abs(found[name].value - true) < 2.5 * found[name].u
        assert found[name].u < 0.04
        assert {term.name for term in found[name].terms} == {"length", "scans"}
    assert found["scanner.um_per_px_x"].value == pytest.approx(254 * 1.0021, rel=4e-4)
    assert found["scanner.length_u_um"].value < 90
    assert found["scanner.repeatability_um"].u > 0
    assert found["scanner.geometry_rms_um"].u > 0
    assert found["scanner.name"].text == "Larkmoor F2"
    assert run.warnings == ()
    assert len(run.drawing["glass_mm"].split()) == len(run.drawing["error_um"].split())


def test_an_unmeasured_strip_says_that_its_length_binds(strips):
    run, found = calibrated(strips)
    assert found["scanner.scale_x_pct"].u > 0.29
    assert found["scanner.scale_ratio_pct"].u < 0.05
    assert any("as printed" in says for says in run.warnings)


def test_strips_laid_one_way_only_say_what_was_not_measured(strips, tmp_path):
    picture, size = strip_picture()
    flat = [
        write_scan(tmp_path / f"f{at}.tif", scan_of(picture, size, (0.3, 0, at), DPI), DPI)
        for at in (-100, 0, 100)
    ]
    run, _ = calibrated(flat, **LENGTH)
    assert any("down the picture was hardly measured" in says for says in run.warnings)


def test_a_board_gives_the_whole_map(tmp_path):
    board = Board(7, 10, 20.0)
    picture, size = board_picture(board)
    places = ((0.4, 2, 1), (90.7, 0, 0), (180.2, -3, 2))
    files = [
        write_scan(tmp_path / f"b{index}.tif", scan_of(picture, size, place, DPI, PLANTED), DPI)
        for index, place in enumerate(places)
    ]
    _, found = calibrated(files, board="7x10 20 mm", board_u_pct="0.005")
    assert abs(found["scanner.scale_x_pct"].value - 0.21) < 2.5 * found["scanner.scale_x_pct"].u
    assert abs(found["scanner.scale_y_pct"].value + 0.34) < 2.5 * found["scanner.scale_y_pct"].u
    assert found["scanner.scale_y_pct"].u < 0.015


def test_a_rule_by_two_points_a_scan(strips):
    px = DPI / 25.4
    points = []
    for across in (True, False, True):
        step = 150 * px / (1 + PLANTED[0 if across else 1])
        ends = (200, 300, 200 + step, 300) if across else (400, 150, 400, 150 + step)
        points.append(",".join(f"{value:.2f}" for value in ends))
    _, found = calibrated(
        strips[:3], artefact="rule", rule_length_mm="150", rule_length_u_mm="0.02",
        rule_points="; ".join(points),
    )  # fmt: skip
    assert abs(found["scanner.scale_x_pct"].value - 0.21) < 2 * found["scanner.scale_x_pct"].u
    assert abs(found["scanner.scale_y_pct"].value + 0.34) < 2 * found["scanner.scale_y_pct"].u


def test_what_cannot_be_used_is_said(strips, tmp_path):
    bare = write_scan(tmp_path / "bare.tif", np.full((600, 500), 200, np.uint8), DPI)
    other = write_scan(tmp_path / "other.tif", np.full((600, 500), 200, np.uint8), DPI, "Elm", "9")
    fine = write_scan(
        tmp_path / "fine.tif", np.full((600, 500), 200, np.uint8), 200, "Larkmoor", "F2"
    )
    for files, params, says in (
        (strips[:2], {}, "3 scans or more, got 2"),
        ([*strips[:2], other], {}, "several scanners"),
        ([*strips[:2], bare], {}, "several scanners"),
        (strips, {"artefact": "ladder"}, "strip, board or rule"),
        (strips, {"strip_length_mm": "16"}, "between 144 and 176"),
        (strips, {"artefact": "rule"}, "rule_length_mm"),
        (strips, {"speed": "1"}, "no parameter 'speed'"),
        (strips, {"board": "9x7 10 mm"}, "board was not found"),
        ([bare, bare, bare], {}, "strip was not found"),
        ([fine, fine, strips[0]], {}, "several"),
    ):
        with pytest.raises(ValueError, match=says):
            calibrated(files, **params)


# --- kept in the studio ---------------------------------------------------------------------


def scan(scanner="Larkmoor F2", dpi=DPI, id="p1"):
    return Capture(id, "a" * 64, "s.tif", "image/tiff", 10, 10, 9, resolution_dpi=dpi,
                   scanner=scanner, place="w01.outer.left", moment="before")  # fmt: skip


@pytest.fixture(scope="module")
def kept(strips, tmp_path_factory):
    """A studio whose strip was measured and whose scanner is calibrated."""
    studio = new_studio(tmp_path_factory.mktemp("bench") / "s")
    studio.append(STUDIO, None, stage.measure_strip(studio.bench(), {"length": "159.81 mm"}))
    stage.calibrate(studio, [(path.name, path) for path in strips], {})
    yield studio
    studio.close()


def test_a_calibration_is_kept_with_its_scans_and_survives_a_rebuild(kept):
    before = kept.bench()
    (held,) = before.calibrations.values()
    assert held.scanner == "Larkmoor F2"
    assert held.dpi == DPI
    assert held.run.params["strip_length_mm"] == "159.8100"
    assert all(kept.blobs.has(entry.sha256) for entry in held.run.inputs)
    kept.rebuild()
    assert kept.bench() == before
    assert kept.connection_check() == ([], [])


def test_it_holds_for_its_scanner_at_its_resolution_only(kept):
    bench = kept.bench()
    params = scanner_params(bench, scan())
    assert float(params["scanner_um_per_px_x"]) == pytest.approx(254 * 1.0021, rel=4e-4)
    assert float(params["scanner_u_um"]) < 90
    assert "is used" in scanner_words(bench, scan())
    for other in (scan("Elm 9"), scan(dpi=300.0), scan(None), scan(dpi=None)):
        assert scanner_params(bench, other) == {}
        assert "not used" in scanner_words(bench, other)
    assert scanner_params(EMPTY_BENCH, scan()) == {}
    assert scanner_words(EMPTY_BENCH, scan()) == ""


def test_a_pair_uses_it_when_both_scans_come_from_it(kept):
    bench = kept.bench()
    assert set(scanner_pair_params(bench, scan(), scan(id="p2"))) == {
        "scanner_u_um", "scanner_repeat_um",
    }  # fmt: skip
    assert scanner_pair_params(bench, scan(), scan("Elm 9", id="p2")) == {}


def test_a_file_given_twice_and_a_scanner_without_a_name_are_refused(kept, strips, tmp_path):
    twice = [(path.name, path) for path in (strips[0], strips[0], strips[1])]
    with pytest.raises(Refusal, match="given twice"):
        stage.calibrate(kept, twice, {})
    picture, size = strip_picture()
    bare = []
    for index, place in enumerate(FOUR_PLACES[:3]):
        path = tmp_path / f"n{index}.tif"
        bare.append((path.name, write_scan(path, scan_of(picture, size, place, DPI), DPI)))
    with pytest.raises(Refusal, match="name no scanner"):
        stage.calibrate(kept, bare, {})
    held, _ = stage.calibrate(kept, bare, {}, name="the bench flatbed")
    assert held.untagged
    assert scanner_params(kept.bench(), scan(None)) != {}
    assert scanner_params(kept.bench(), scan("Elm 9")) == {}
    kept.append(STUDIO, None, stage.set_aside(kept.bench(), {"id": held.id}))
    assert held.id not in kept.bench().calibrations
