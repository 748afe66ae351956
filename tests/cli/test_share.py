"""A folder to share on the command line: looked at first, made whole, refused in a sentence."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.main import main
from share_case import planted, private_words

ITEM = "annual"


def run(folder: Path, *args: str) -> Result:
    return CliRunner().invoke(main, ["share", ITEM, *args, "--studio", str(folder)])


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    folder = tmp_path / "studio"
    planted(folder, pairs=1).close()
    return folder


def test_a_dry_run_says_what_would_be_in_and_writes_nothing(studio: Path, tmp_path: Path) -> None:
    told = run(studio, "--dry-run", "-o", str(tmp_path / "out"))
    assert told.exit_code == 0, told.output
    assert "Would be in:" in told.output and "The listing:" in told.output
    assert "Left out:" in told.output
    assert not (tmp_path / "out").exists()
    said = json.loads(run(studio, "--dry-run", "--json").stdout)
    assert said["pictures"] and not said["problems"]
    words = json.dumps(said, ensure_ascii=False).casefold()
    assert not [word for word in private_words() if word.casefold() in words]


def test_the_folder_is_made_and_told_file_by_file(studio: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    told = run(studio, "--film", "none", "--no-plates", "-o", str(out), "--json")
    assert told.exit_code == 0, told.output
    said = json.loads(told.stdout)
    on_disk = {
        one.relative_to(out).as_posix(): one.stat().st_size
        for one in out.rglob("*")
        if one.is_file()
    }
    assert {one["name"]: one["bytes"] for one in said["files"]} == on_disk
    assert "index.html" in on_disk and said["bytes"] == sum(on_disk.values())


def test_what_cannot_be_shared_is_refused_in_a_sentence(studio: Path, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine", encoding="utf-8")
    for args in (
        ("-o", str(tmp_path / "full"), "--film", "none", "--no-plates"),
        ("-o", str(tmp_path / "new"), "--pictures", "no-such-picture"),
        ("-o", str(tmp_path / "new"), "--title", private_words()[0]),
    ):
        told = run(studio, *args)
        assert told.exit_code in (1, 2), (args, told.output)
        assert told.output.strip().splitlines()[-1].startswith("Error: "), told.output
        assert "Traceback" not in told.output
    assert (tmp_path / "full" / "mine.txt").read_text(encoding="utf-8") == "mine"
    assert not (tmp_path / "new").exists()
