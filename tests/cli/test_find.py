"""``quirewell find``: what is said, as words and as JSON; and what opening an old studio says."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from quirewell.cli.find import find
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with studio_with_item(tmp_path / "s") as studio:
        studio.append(ITEM, None, [defect(extent="a quillwort stain")])
    return tmp_path / "s"


def test_words_are_found_and_marked(folder: Path) -> None:
    told = CliRunner().invoke(find, ["Quillwort", "copperbeck", "--studio", str(folder)])
    assert told.exit_code == 0
    assert "1 record of 1 item" in told.output
    assert "a [quillwort] stain" in told.output


def test_json_holds_the_page_of_each_hit(folder: Path) -> None:
    told = CliRunner().invoke(find, ["quillwort", "--studio", str(folder), "--json"])
    hit = json.loads(told.output)["items"][0]["hits"][0]
    assert hit["href"] == f"/item/{ITEM}/examine/w03"
    assert hit["marked"] == ["quillwort"]
    assert "quillwort stain" in hit["text"]


@pytest.mark.parametrize("words", [["nowhere"], ['"'], ["*"], ["x" * 5000]])
def test_what_is_not_found_is_a_sentence(folder: Path, words: list[str]) -> None:
    told = CliRunner().invoke(find, [*words, "--studio", str(folder)])
    assert told.exit_code == 0
    assert told.output.strip().endswith(".")


def test_an_unknown_item_is_refused_in_words(folder: Path) -> None:
    told = CliRunner().invoke(find, ["x", "--studio", str(folder), "--item", "nothing"])
    assert told.exit_code == 1
    assert "there is no item 'nothing'" in told.output


def test_opening_an_older_studio_says_what_it_does_and_finds_the_words(folder: Path) -> None:
    with sqlite3.connect(folder / "studio.db") as connection:
        connection.execute("DROP TABLE search_index")
        connection.execute("DROP TABLE search_entry")
        connection.execute("UPDATE alembic_version SET version_num='0001'")
    connection.close()
    said: list[str] = []
    with Studio.open(folder, tell=said.append) as studio:
        assert studio.search("quillwort").record_count == 1
        assert studio.rebuild_differs() == []
    assert "copying them to" in said[0]
    assert "1 of 1 items" in said[-1]
    assert (folder / "backups" / "before-tables-0002.db").is_file()
