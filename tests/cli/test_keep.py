"""`quirewell studio keep` and `restore --at`, as typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.main import main
from quirewell.studio.own_settings import backup_settings
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    studio_with_item(tmp_path / "larkmoor").close()
    return tmp_path / "larkmoor"


def run(*words: object) -> Result:
    return CliRunner().invoke(main, ["studio", *map(str, words)])


def test_set_up_once_made_again_and_restored(folder: Path, tmp_path: Path) -> None:
    place = tmp_path / "disk"
    first = run("keep", folder, "--to", place, "--daily", 3)
    assert first.exit_code == 0, first.output
    assert "read back, opened, journal and tables checked" in first.output
    assert "Look: the backups lie on the same disk" in first.output
    assert backup_settings(folder).rotation.daily == 3
    again = run("keep", folder, "--now", "--json")
    said = json.loads(again.stdout)
    assert not said["kept"]["made"] and said["backups"]["there"] is True
    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect()])
        head = studio.head()
    assert run("keep", folder, "--now").exit_code == 0
    verified = run("keep", folder, "--verify")
    assert verified.exit_code == 0 and "was restored whole and checked" in verified.output
    back = run("restore", place, tmp_path / "again", "--json")
    assert back.exit_code == 0 and json.loads(back.stdout)["journal_head"] == head
    early = run("restore", place, tmp_path / "early", "--at", "2001-01-01")
    assert early.exit_code == 2 and "no backup made on or before 2001-01-01" in early.output
    assert not (tmp_path / "early").exists()


def test_how_it_stands(folder: Path, tmp_path: Path) -> None:
    said = run("keep", folder)
    assert said.exit_code == 1 and "There is no backup of this studio." in said.output
    run("keep", folder, "--to", tmp_path / "disk")
    said = run("keep", folder)
    assert said.exit_code == 1 and f"Place: {tmp_path / 'disk'}" in said.output
    assert "3 entries, 0 originals" in said.output and "Free there" in said.output
    assert run("keep", folder, "--stop").exit_code == 0
    assert backup_settings(folder).place == ""
    assert (tmp_path / "disk" / "quirewell-backups.json").is_file()


def test_faults_are_sentences_with_a_code(folder: Path, tmp_path: Path) -> None:
    none = run("keep", folder, "--now")
    assert none.exit_code == 2 and "no backups are set up" in none.output
    run("keep", folder, "--to", tmp_path / "disk")
    (tmp_path / "disk").rename(tmp_path / "away")
    gone = run("keep", folder, "--now", "--json")
    assert gone.exit_code == 2 and "Plug the disk in" in json.loads(gone.stdout)["error"]
    assert not (tmp_path / "disk").exists()
    bad = run("keep", folder, "--daily", -1)
    assert bad.exit_code == 2 and "from 0 to 1000" in bad.output
    nowhere = run("keep", tmp_path / "nothing", "--to", tmp_path / "b")
    assert nowhere.exit_code == 2 and "no studio" in nowhere.output
    (tmp_path / "plain").mkdir()
    for other in (tmp_path / "nothing", tmp_path / "plain"):
        for words in ((), ("--now",), ("--verify",)):
            none = run("keep", other, *words)
            assert none.exit_code == 2 and "there is no studio in" in none.output
    assert list((tmp_path / "plain").iterdir()) == []
    one = tmp_path / "one.zip"
    assert run("backup", folder, one).exit_code == 0
    wrong = run("restore", one, tmp_path / "x", "--at", "2031-01-01")
    assert wrong.exit_code == 2 and "leave --at out" in wrong.output


def test_each_run_is_noted_in_the_log(folder: Path, tmp_path: Path) -> None:
    run("keep", folder, "--to", tmp_path / "disk")
    text = (folder / "log" / "keep.jsonl").read_text()
    events = [json.loads(line)["event"] for line in text.splitlines()]
    assert events[0] == "backup.begun" and "backup.ended" in events
    assert str(tmp_path) not in text and ITEM not in text
