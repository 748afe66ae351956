"""Method ``holes.find`` and ``quirewell holes``: rows, frame, budgets, names, faults."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from hole_scans import HEIGHT_MM, LEGS_MM, plants, scan
from light_box_photos import Photo, photograph
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
    plain = find(image, dpi="300")
    photo = find(image, camera="photo", height_mm=f"{HEIGHT_MM}")
    for run in (plain, photo):
        for finding in run.findings:
            if finding.u is not None:
                assert finding.u == pytest.approx(np.sqrt(sum(t.u**2 for t in finding.terms)))
    for one, other in zip(as_json(plain)["holes"], as_json(photo)["holes"], strict=True):
        assert other["u_mm"] > 2 * one["u_mm"]
        assert other["y_mm"] == pytest.approx(one["y_mm"], abs=2 * other["u_y_mm"])
    assert any("made flat" in says for says in photo.warnings)


@pytest.fixture(scope="module")
def photographed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Photo]:
    made = scan(4, 254, "transmitted", plants(4, ("clean", "torn", "clean", "clean")))
    photo = photograph(made, 4, lean_deg=(5.0, -4.0))
    path = tmp_path_factory.mktemp("lit") / "w05-outer-whole-before-lightbox.png"
    Image.fromarray(photo.pixels).save(path)
    return path, photo


def test_a_photograph_over_a_light_box_gives_holes_by_the_sheets_height(
    photographed: tuple[Path, Photo],
) -> None:
    path, photo = photographed
    done = CliRunner().invoke(main, ["holes", str(path), "--height-mm", f"{HEIGHT_MM}", "--json"])
    assert done.exit_code == 0, done.stdout
    found = json.loads(done.stdout)
    assert found["light"] == "transmitted" and "steel rule" in found["scale"]
    for hole, plant in zip(found["holes"], plants(4, ("clean", "torn", "clean", "clean")),
                           strict=True):  # fmt: skip
        assert hole["state"] == plant.state
        assert hole["x_mm"] == pytest.approx(plant.x_mm, abs=2.5 * hole["u_x_mm"])
        assert hole["y_mm"] == pytest.approx(plant.y_mm, abs=2.5 * hole["u_y_mm"])
        assert hole["u_mm"] < 0.3
        assert photo.pixels[int(hole["px"][1]), int(hole["px"][0])].min() > 240


def test_the_frame_of_a_photograph_takes_pixels_to_millimetres(
    photographed: tuple[Path, Photo],
) -> None:
    run = run_method(METHOD, "w05", {"image": photographed[0]}, params={
        "camera": "photo", "light": "transmitted", "height_mm": f"{HEIGHT_MM}",
    })  # fmt: skip
    words = [float(word) for word in run.drawing["frame"].split()]
    assert len(words) == 8
    frame = np.array([*words, 1.0]).reshape(3, 3)
    for hole in as_json(run)["holes"]:
        x, y, over = frame @ np.array([*hole["px"], 1.0])
        assert [x / over, y / over] == pytest.approx([hole["x_mm"], hole["y_mm"]], abs=0.03)


def test_a_photograph_without_its_height_or_without_edges_says_what_to_do(
    photographed: tuple[Path, Photo], tmp_path: Path
) -> None:
    found = as_json(find(photographed[0], panel="whole", camera="photo"))
    assert found["holes"] == [] and any("steel rule" in one for one in found["warnings"])
    cut = tmp_path / "cut.png"
    Image.fromarray(photographed[1].pixels[120:-120, 250:-250]).save(cut)
    told = find(cut, panel="whole", camera="photo", dpi="254", light="transmitted")
    assert any("cannot be made flat" in one for one in told.warnings)
    for finding in told.findings:
        if finding.quantity.endswith("y_mm"):
            assert finding.u is not None and finding.u >= 0.15


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
        ({"height_mm": "260"}, "a scan has its own"),
        ({"camera": "photo", "height_mm": "tall"}, "between 40 and 600"),
        ({"camera": "photo", "height_mm": "nan"}, "between 40 and 600"),
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
