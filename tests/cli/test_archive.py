"""``quirewell archive`` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner, Result

from archive_case import archive_studio
from quirewell.cli.archive import archive


def run(*arguments: object) -> Result:
    return CliRunner().invoke(archive, [str(word) for word in arguments])


def test_made_checked_and_read_back(tmp_path: Path) -> None:
    archive_studio(tmp_path / "home").close()
    made = run("make", "--studio", tmp_path / "home", tmp_path / "bag", "--no-tiles", "--json")
    assert made.exit_code == 0, made.output
    said = json.loads(made.stdout)
    assert "originals copied" in made.stderr
    looked = run("check", tmp_path / "bag", "--json")
    assert looked.exit_code == 0 and json.loads(looked.stdout)["journal_head"] == said["head"]
    back = run("read", tmp_path / "bag", "--studio", tmp_path / "again", "--json")
    assert json.loads(back.stdout)["journal_head"] == said["head"]
    assert "Journal head: " + said["head"] in run("check", tmp_path / "bag").stdout


def test_what_is_wrong_is_named_and_ends_with_one(tmp_path: Path) -> None:
    archive_studio(tmp_path / "home").close()
    run("make", "--studio", tmp_path / "home", tmp_path / "bag", "--no-tiles")
    (tmp_path / "bag" / "data" / "extra.txt").write_text("not mine")
    looked = run("check", tmp_path / "bag")
    assert looked.exit_code == 1
    assert "NOT WELL  data/extra.txt is in no list" in looked.stdout
    refused = run("read", tmp_path / "bag", "--studio", tmp_path / "again")
    assert refused.exit_code == 1 and "Nothing was read in" in refused.output
    assert not (tmp_path / "again").exists()
    assert "there is no archive" in run("check", tmp_path / "nowhere").output


def test_of_one_item_it_says_what_was_left_out(tmp_path: Path) -> None:
    archive_studio(tmp_path / "home").close()
    made = run("make", "--studio", tmp_path / "home", tmp_path / "one.zip", "--item", "annual",
               "--no-tiles")  # fmt: skip
    assert made.exit_code == 0, made.output
    assert "Entries withheld, in part or whole: 4" in made.stdout
    assert "Left out  owners' names" in made.stdout
