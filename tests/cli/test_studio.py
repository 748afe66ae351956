"""``quirewell studio`` and ``quirewell intake`` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result

from picture_files import write_pictures
from quirewell.cli.intake import intake
from quirewell.cli.studio import studio

NAMES = ["item-front-before.png", "item-gloss-before.png", "odd.jpg"]


def run(command: object, *arguments: object) -> Result:
    return CliRunner().invoke(command, [str(word) for word in arguments])  # type: ignore[arg-type]


def test_a_life_of_a_studio(tmp_path: Path) -> None:
    home, scans = tmp_path / "larkmoor", write_pictures(tmp_path / "scans", NAMES)
    made = run(studio, "new", home, "--name", "Larkmoor paper bench", "--json")
    assert json.loads(made.stdout)["name"] == "Larkmoor paper bench"
    taken = run(
        intake, scans, "--studio", home, "--item", "Copperbeck Garden Annual", "--pages", 36,
        "--no-measure", "--json",
    )  # fmt: skip
    assert taken.exit_code == 0, taken.output
    said = json.loads(taken.stdout)
    assert said["item"] == "copperbeck-garden-annual" and len(said["taken"]) == 3
    assert [one["name"] for one in said["to_assign"]] == ["odd.jpg"]
    assert "[3/3] odd.jpg" in taken.stderr
    checked = run(studio, "check", home, "--json")
    assert checked.exit_code == 0 and json.loads(checked.stdout)["originals"] == 3
    copied = json.loads(run(studio, "backup", home, tmp_path / "copy.zip", "--json").stdout)
    again = run(studio, "restore", tmp_path / "copy.zip", tmp_path / "again", "--json")
    assert json.loads(again.stdout)["journal_head"] == copied["head"]


def test_intake_makes_the_studio_and_is_quiet_the_second_time(tmp_path: Path) -> None:
    scans = write_pictures(tmp_path / "scans", NAMES)
    words = (intake, scans, "--studio", tmp_path / "s", "--item", "Annual", "--no-measure")
    first = run(*words)
    assert first.exit_code == 0 and "3 pictures taken in" in first.stdout
    assert "To assign by hand" in first.stdout and "odd.jpg" in first.stdout
    second = run(*words)
    assert "0 pictures taken in, 3 were in already" in second.stdout


def test_dry_run_takes_nothing(tmp_path: Path) -> None:
    scans = write_pictures(tmp_path / "scans", NAMES)
    said = run(intake, scans, "--studio", tmp_path / "s", "--item", "A", "--dry-run", "--json")
    assert len(json.loads(said.stdout)["matched"]) == 2
    assert not (tmp_path / "s").exists()


def test_damage_ends_with_one_and_a_sentence(tmp_path: Path) -> None:
    scans = write_pictures(tmp_path / "scans", NAMES)
    run(intake, scans, "--studio", tmp_path / "s", "--item", "Annual", "--no-measure")
    next((tmp_path / "s" / "originals").glob("??/*")).unlink()
    checked = run(studio, "check", tmp_path / "s")
    assert checked.exit_code == 1 and "NOT WELL" in checked.stdout
    said = run(studio, "check", tmp_path / "s", "--json")
    assert json.loads(said.stdout)["troubles"][0]["code"] == "missing"


def test_errors_are_sentences_on_the_error_stream(tmp_path: Path) -> None:
    scans = write_pictures(tmp_path / "scans", NAMES)
    for arguments, said in (
        ((studio, "check", tmp_path / "none"), "there is no studio"),
        ((studio, "restore", tmp_path / "none.zip", tmp_path / "x"), "there is no backup"),
        ((studio, "new", scans), "is not empty"),
        ((intake, tmp_path / "none", "--studio", tmp_path / "s", "--item", "A"), "no folder"),
        (
            (intake, scans, "--studio", tmp_path / "s", "--item", "A", "--pages", "35"),
            "multiple of four",
        ),
    ):
        result = run(*arguments)
        assert result.exit_code == 1 and said in result.stderr and not result.stdout


def test_count_that_disagrees_takes_nothing_in(tmp_path: Path) -> None:
    scans = write_pictures(tmp_path / "scans", NAMES)
    words = (intake, scans, "--studio", tmp_path / "s", "--item", "A", "--no-measure")
    assert run(*words, "--wraps", 9).exit_code == 0
    assert "described with 9 wraps, you gave 8" in run(*words, "--wraps", 8).stderr
