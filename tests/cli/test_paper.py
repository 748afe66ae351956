"""The verb that writes an owner's papers: words for people, JSON for programs, clear faults."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from quirewell.cli.main import main
from report_case import report_studio, text_of


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("paper")
    report_studio(base / "studio", pairs=1).close()
    return base


def run(folder: Path, *words: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["paper", *words, "--studio", str(folder / "studio")])
    return done.exit_code, done.output


def test_a_paper_is_written_and_says_what_it_lacks(folder: Path) -> None:
    target = folder / "papers" / "receipt.pdf"
    code, said = run(folder, "custody", "copperbeck garden annual", "-o", str(target))
    assert code == 0 and "ready to print" in said
    assert "It was not taken into custody here" in said
    assert "Copperbeck Garden Annual" in text_of(target)


def test_json_is_all_there_is_on_standard_output(folder: Path) -> None:
    target = str(folder / "q.pdf")
    code, said = run(folder, "quote", "annual", "-o", target, "--paper", "letter", "--json")
    told = json.loads(said)
    assert code == 0 and (told["item"], told["pdf"]) == ("annual", target)
    assert told["missing"] == ["No quote is made yet: the paper leaves lines for it."]


@pytest.mark.parametrize(
    "words",
    [
        ("bill", "annual"),
        ("quote", "nothing-here"),
        ("quote", "annual", "--no-names"),
        ("invoice", "annual", "--invoice", "2026-999"),
        ("quote", "annual", "--paper", "a3"),
    ],
)
def test_what_cannot_be_is_a_sentence_and_writes_nothing(
    folder: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    target = tmp_path / "no.pdf"
    code, said = run(folder, *words, "-o", str(target))
    assert code == 2 and "Error" in said and "Traceback" not in said
    assert not target.exists()
