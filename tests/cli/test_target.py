"""quirewell target: fit, read, card; and measuring with what they gave."""

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from chart_pictures import shoot
from quirewell.cli.main import main
from quirewell.demo.scenes import render_leaf

MIX = np.array([[0.8, 0.25, 0.05], [0.1, 0.85, 0.1], [0.02, 0.25, 0.6]])
CARD = "step1 92 0 4\nstep2 85 2 14\nstep3 76 5 22\nstep4 66 8 27\n"
READING = (
    "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    "BEGIN_DATA\nleaf3 76.0 4.0 20.0\nEND_DATA\n"
)


def call(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    where = tmp_path_factory.mktemp("target")
    shot = shoot(1, size=(600, 800), scale=1.6, mix=MIX)
    tifffile.imwrite(where / "chart.tif", shot.pixels, photometric="rgb")
    np.save(where / "middle.npy", shot.middle_px)
    leaf, _ = render_leaf(2, 75, width_mm=150.0, height_mm=200.0)
    tifffile.imwrite(where / "leaf.tif", leaf, photometric="rgb", resolution=(75, 75))
    (where / "card.txt").write_text(CARD)
    (where / "reading.txt").write_text(READING)
    return where


def test_fit_gives_matrix_quality_and_published_limits(folder):
    result = call("target", "fit", folder / "chart.tif", "after-2014", "--json")
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    assert np.array(said["target"]["matrix"]).shape in ((3, 3), (3, 6))
    assert said["target"]["dE00_mean"]["value"] < 0.3
    assert len(said["tolerances"]) == 15
    assert all("secondary" in row["standing"] for row in said["tolerances"])


def test_fit_in_words_never_gives_a_class_without_its_figure(folder):
    result = call("target", "fit", folder / "chart.tif", "after-2014")
    assert result.exit_code == 0
    for line in result.stdout.splitlines():
        if "->" in line:
            assert any(part.replace(".", "").isdigit() for part in line.split())
    assert "Standing:" in result.stdout


def test_corners_may_be_typed(folder):
    middle = np.load(folder / "middle.npy")[[0, 5, 23, 18]]
    corners = ",".join(f"{value:.0f}" for value in middle.ravel())
    result = call(
        "target", "fit", folder / "chart.tif", "after-2014", "--corners", corners, "--json"
    )
    assert "by its corners" in json.loads(result.stdout)["target"]["found_dE00"]["note"]


def test_measuring_takes_the_fitted_target_and_the_card(folder):
    target = call("target", "fit", folder / "chart.tif", "after-2014", "--json")
    (folder / "target.json").write_text(target.stdout)
    card = call("target", "card", folder / "card.txt", "--json")
    (folder / "card.json").write_text(card.stdout)
    made = call(
        "measure", folder / "leaf.tif", "--target", folder / "target.json",
        "--card", folder / "card.json", "--json",
    )  # fmt: skip
    tone = json.loads(made.stdout)["tone"]
    assert tone["L"]["terms"]["scanner"]["basis"].startswith("fitted colour target")
    assert "%" in tone["step"] and "decay_mm" in tone["profile"]
    assert tone["yellowness"]["u"] > 0


@pytest.mark.parametrize("option", ["--target", "--card"])
def test_measuring_refuses_files_of_another_kind(folder, option):
    for name in ("leaf.tif", "card.txt", "nothing.json"):
        result = call("measure", folder / "leaf.tif", option, folder / name, "--json")
        assert result.exit_code == 2 and "error" in json.loads(result.stdout)


def test_a_card_from_a_scan_is_the_tone_at_each_place(folder):
    picture = np.zeros((60, 120, 3), np.uint8)
    picture[:, :60], picture[:, 60:] = (225, 210, 180), (190, 160, 120)
    tifffile.imwrite(folder / "card.tif", picture, photometric="rgb")
    result = call("target", "card", folder / "card.tif", "--at", "5,5,40,40;70,5,40,40", "--json")
    said = json.loads(result.stdout)
    assert said["by"] == "scan" and len(said["steps"]) == 2
    assert said["steps"][0]["lab"]["L"] > said["steps"][1]["lab"]["L"]
    outside = call("target", "card", folder / "card.tif", "--at", "5,5,40,400", "--json")
    assert outside.exit_code == 2 and "inside the picture" in outside.output


def test_readings_are_set_against_a_measured_leaf(folder):
    leaf = call("measure", folder / "leaf.tif", "--json")
    (folder / "leaf.json").write_text(leaf.stdout)
    result = call(
        "target", "read", folder / "reading.txt", "--against", folder / "leaf.json", "--json"
    )
    (row,) = json.loads(result.stdout)["readings"]
    assert row["lab"] == {"L": 76.0, "a": 4.0, "b": 20.0} and row["r457_pct"] is None
    assert set(row["against"]) == {"difference", "u", "dE00", "agree", "says"}
    words = call("target", "read", folder / "reading.txt", "--against", folder / "leaf.json")
    assert "Picture and instrument" in words.stdout


@pytest.mark.parametrize(
    "words",
    [
        ("fit", "leaf.tif", "after-2014"),
        ("fit", "chart.tif", "someday"),
        ("fit", "chart.tif", "card.txt"),
        ("fit", "nothing.tif", "after-2014"),
        ("read", "chart.tif"),
        ("read", "nothing.txt"),
        ("read", "reading.txt", "--against", "card.txt"),
        ("card", "leaf.tif"),
        ("card", "nothing.txt"),
    ],
)
def test_faults_are_sentences_and_exit_two(folder, words, monkeypatch):
    monkeypatch.chdir(folder)
    result = call("target", *words, "--json")
    assert result.exit_code == 2, result.output
    assert json.loads(result.stdout)["error"].endswith(".")
    assert "Traceback" not in result.output
