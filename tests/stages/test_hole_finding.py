"""Method ``holes.find`` and ``quirewell holes``: rows, frame, budgets, names, faults."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from hole_scans import LEGS_MM, plants, scan
from quirewell.cli.main import main
from quirewell.record.codec import from_body, to_body
from quirewell.record.finding import Run
from quirewell.stages.hole_finding import METHOD, as_json
from quirewell.stages.hole_table import read_holes
from quirewell.stages.measuring_said import BadParameter
from quirewell.stages.methods import run_method

MADE = scan(3, 300, "dark", plants(3, ("clean", "torn", "rusted", "clean")), panel="left")
DPI = 25.4 / MADE.px_mm[0]


@pytest.fixture(scope="module")
def image(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sheet") / "w03-inner-left-before.tif"
    tifffile.imwrite(path, MADE.pixels, photometric="rgb", resolution=(300, 300), resolutionunit=2)
    return path


def find(image: Path, **params: str) -> Run:
    return run_method(METHOD, "w03", {"image": image}, params={"panel": "left"} | params)


def test_rows_frame_and_pixels_say_the_same(image: Path) -> None:
    run = find(image, side="outer", wrap="w03", dpi=f"{DPI:.6f}")
    found = as_json(run)
    text = next(one.text for one in run.findings if one.quantity == "holes.rows")
    (sheet,) = read_holes(text)
    assert sheet.name == "w03"
    frame = np.array([float(word) for word in run.drawing["frame"].split()]).reshape(2, 3)
    for row, hole, plant in zip(sheet.holes, found["holes"], MADE.plants, strict=True):
        assert row.state == hole["state"] == plant.state
        assert hole["x_mm"] == pytest.approx(plant.x_mm, abs=0.1)
        assert hole["y_mm"] == pytest.approx(plant.y_mm, abs=0.1)
        assert [row.x_mm, row.y_mm] == pytest.approx([hole["x_mm"], hole["y_mm"]], abs=1e-4)
        back = frame @ np.array([*hole["px"], 1.0])
        assert back == pytest.approx([hole["x_mm"], hole["y_mm"]], abs=0.01)
        assert hole["u_mm"] <= hole["u_x_mm"] and hole["u_mm"] <= hole["u_y_mm"]
    assert len(run.drawing["band"].split()) == 4


def test_u_is_made_of_its_terms_and_a_photograph_has_a_wider_band(image: Path) -> None:
    plain, photo = find(image, dpi="300"), find(image, dpi="300", camera="photo")
    for run in (plain, photo):
        for finding in run.findings:
            if finding.u is not None:
                assert finding.u == pytest.approx(np.sqrt(sum(t.u**2 for t in finding.terms)))
    one, other = as_json(plain)["holes"][0], as_json(photo)["holes"][0]
    assert other["u_mm"] > 3 * one["u_mm"]
    assert any("photograph" in says for says in photo.warnings)


def test_the_same_call_gives_the_same_run_and_it_survives_the_journal(image: Path) -> None:
    run = find(image, count="4")
    assert find(image, count="4") == run
    assert from_body(Run, to_body(run)) == run


def test_a_wrong_expected_place_is_missing_and_the_hole_there_set_aside(image: Path) -> None:
    places = " ".join(str(y) for y in (*LEGS_MM[:3], 85.0))
    found = as_json(find(image, expected=places))
    assert [hole["state"] for hole in found["holes"]][-1] == "missing"
    assert found["holes"][-1]["x_mm"] is None
    assert any("no hole is expected" in one for one in found["set_aside"])


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"colour": "red"}, "knows no parameter 'colour'"),
        ({"side": "upper"}, "outer or inner"),
        ({"light": "blue"}, "transmitted, dark or light"),
        ({"expected": "60 abc"}, "places in mm from the head"),
        ({"expected": "nan"}, "places in mm from the head"),
        ({"count": "-2"}, "how many holes"),
        ({"wrap": "middle"}, "c (cover) or w03"),
        ({"camera": "phone"}, "scan or photo"),
        ({"panel": "top"}, "whole, left or right"),
    ],
)
def test_faults_are_sentences(image: Path, params: dict[str, str], says: str) -> None:
    with pytest.raises(BadParameter) as caught:
        find(image, **params)
    assert says in str(caught.value)


def test_a_picture_without_a_scale_says_so(tmp_path: Path) -> None:
    path = tmp_path / "sheet.png"
    tifffile.imwrite(path.with_suffix(".tif"), MADE.pixels, photometric="rgb")
    found = as_json(find(path.with_suffix(".tif")))
    assert found["holes"] == [] and any("how large a pixel is" in one for one in found["warnings"])


def test_the_command_line_reads_the_name_and_prints_json_or_rows(image: Path) -> None:
    def asked(*more: str) -> tuple[int, str]:
        done = CliRunner().invoke(main, ["holes", str(image), *more])
        return done.exit_code, done.stdout

    code, text = asked("--json")
    data = json.loads(text)
    assert code == 0 and data["light"] == "dark"
    assert [one["number"] for one in data["holes"]] == [1, 2, 3, 4]
    # The name says the inner side: mirrored.
    assert data["holes"][0]["x_mm"] == pytest.approx(-MADE.plants[0].x_mm, abs=0.1)
    code, rows = asked("--csv")
    assert code == 0 and rows.startswith("wrap,hole,x_mm,y_mm,u_mm,hole_mm,state\nw03,1,")
    done = CliRunner().invoke(main, ["holes", str(image), str(image), "--csv"])
    assert done.stdout.count("w03,1,") == 2 and done.stdout.count("wrap,hole") == 1
    assert asked(str(image))[0] == 2
    code, card = asked()
    assert code == 0 and "torn" in card
    code, fault = asked("--light", "blue", "--json")
    assert code == 2 and "transmitted" in json.loads(fault)["error"]
