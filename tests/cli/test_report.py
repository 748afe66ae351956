"""The commands that put things on paper: words for people, JSON alone for programs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from quirewell.cli.report import condition, recheck, report, strip
from report_case import report_studio


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("cli")
    report_studio(base / "studio", pairs=1, real=True).close()
    return base


def test_report_then_recheck_agree(folder: Path) -> None:
    studio, pdf = str(folder / "studio"), str(folder / "r.pdf")
    title = "copperbeck garden annual"
    made = CliRunner().invoke(report, [title, "--studio", studio, "-o", pdf, "--json"])
    assert made.exit_code == 0, made.output
    said = json.loads(made.stdout)
    assert (said["item"], said["pdf"], said["numbers"] > 30) == ("annual", pdf, True)
    again = CliRunner().invoke(recheck, [pdf, "--studio", studio, "--json"])
    assert again.exit_code == 0
    assert json.loads(again.stdout)["agrees"] is True


def test_recheck_exits_with_one_and_lists_what_differs(folder: Path) -> None:
    studio, pdf = str(folder / "studio"), folder / "d.pdf"
    CliRunner().invoke(report, ["annual", "--studio", studio, "-o", str(pdf)])
    beside = pdf.with_suffix(".json")
    manifest = json.loads(beside.read_text())
    next(n for n in manifest["numbers"] if n["quantity"] == "bath.pH")["value"] = 9.0
    beside.write_text(json.dumps(manifest))
    again = CliRunner().invoke(recheck, [str(beside), "--studio", studio])
    assert again.exit_code == 1
    assert "bath.pH of item: " in again.stdout
    assert "the report does not say what the journal says" in again.stdout


def test_condition_and_strip_write_their_page(folder: Path) -> None:
    studio = str(folder / "studio")
    page = str(folder / "c.pdf")
    made = CliRunner().invoke(condition, ["annual", "--studio", studio, "-o", page, "--json"])
    assert json.loads(made.stdout)["item"] == "annual"
    made = CliRunner().invoke(strip, ["-o", str(folder / "s.pdf"), "--json"])
    assert json.loads(made.stdout)["nominal_length_mm"] == 160.0
    assert (folder / "s.pdf").read_bytes().startswith(b"%PDF")
    assert "160 mm" in CliRunner().invoke(strip, ["-o", str(folder / "s.pdf")]).stdout
    words = CliRunner().invoke(condition, ["annual", "--studio", studio, "-o", page]).stdout
    assert "one page" in words


@pytest.mark.parametrize(
    ("command", "arguments", "says"),
    [
        (report, ["nothing"], "no item 'nothing'"),
        (condition, ["nothing"], "no item 'nothing'"),
        (recheck, ["none.pdf"], "there is no file none.pdf"),
    ],
)
def test_what_is_not_there_is_told_in_a_sentence(
    folder: Path, command: object, arguments: list[str], says: str
) -> None:
    result = CliRunner().invoke(command, [*arguments, "--studio", str(folder / "studio")])  # type: ignore[arg-type]
    assert result.exit_code == 1
    assert says in result.stderr


def test_a_place_that_cannot_be_written_is_told(folder: Path) -> None:
    result = CliRunner().invoke(strip, ["-o", str(folder / "no" / "s.pdf")])
    assert result.exit_code == 1
    assert "No such file or directory" in result.stderr
