"""``quirewell scanner`` and the intake options, as typed."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from picture_files import write_pictures
from quirewell.cli.main import main
from quirewell.studio.studio import Studio
from scanner_scans import FOUR_PLACES, scan_of, strip_picture, write_scan


def run(*arguments):
    return CliRunner().invoke(main, [str(one) for one in arguments])


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    folder = tmp_path_factory.mktemp("scans")
    picture, size = strip_picture()
    return [
        write_scan(folder / f"s{at}.tif", scan_of(picture, size, place, 100), 100, "Elm", "F2")
        for at, place in enumerate(FOUR_PLACES[:3])
    ]


@pytest.fixture
def studio(tmp_path):
    Studio.create(tmp_path / "s", "Larkmoor").close()
    return tmp_path / "s"


def test_a_scanner_is_calibrated_and_kept(scans, studio):
    shown = json.loads(run("scanner", "calibrate", *scans, "--json").output)
    assert shown["kept_as"] is None
    assert {"value", "u", "unit"} <= set(shown["scanner"]["scale_x_pct"])
    kept = json.loads(run("scanner", "calibrate", *scans, "--studio", studio, "--json").output)
    assert kept["kept_as"] == "Elm F2"
    said = json.loads(run("scanner", "show", "--studio", studio, "--json").output)
    assert "Elm F2 at 100 dpi" in said["scanners"][0]["says"]
    words = run("scanner", "calibrate", *scans).output
    assert "What to know" in words


def test_strip_and_greys_are_entered(scans, studio):
    words = run("scanner", "strip", "159.8 mm", "--studio", studio)
    assert words.exit_code == 0
    assert "159.80 mm long" in words.output
    assert run("scanner", "greys", scans[0], "--studio", studio).exit_code == 0
    steps = "21 35.5 50.2 65 79.6 91.8"
    said = json.loads(
        run("scanner", "greys", "--steps", steps, "--studio", studio, "--json").output
    )
    assert [one["source"] for one in said["strip"]["greys"]] == ["as a scan gave them", "measured"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("strip", "16"), "between 144 and 176"),
        (("greys",), "6 grey steps"),
        (("calibrate", "nowhere.tif", "no.tif", "none.tif"), "cannot be opened"),
    ],
)
def test_faults_are_sentences_with_exit_2(studio, arguments, says):
    result = run("scanner", *arguments, "--studio", studio)
    assert result.exit_code == 2
    assert says in result.output


def test_intake_puts_files_in_place_by_their_order(tmp_path):
    folder = write_pictures(tmp_path / "in", [f"scan{n}.png" for n in (1, 2, 10)])
    result = run("intake", folder, "--studio", tmp_path / "s", "--item", "Annual", "--wraps", "2",
                 "--no-measure", "--by-order", "halves", "--json")  # fmt: skip
    assert result.exit_code == 0
    said = json.loads(result.stdout)
    assert said["to_assign"] == []
    assert [(one["name"], one["place"]) for one in said["placed"]] == [
        ("scan1.png", "cover, outer side, left, before"),
        ("scan10.png", "cover, inner side, left, before"),
        ("scan2.png", "cover, outer side, right, before"),
    ]
    wrong = run("intake", folder, "--studio", tmp_path / "s", "--item", "Annual",
                "--by-order", "zigzag")  # fmt: skip
    assert wrong.exit_code == 2
    assert "halves" in wrong.output
