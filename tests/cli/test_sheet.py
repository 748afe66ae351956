"""``quirewell sheet`` and ``sheet board``: a table in, PDF out, faults as sentences."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pikepdf
import pytest
from click.testing import CliRunner, Result

from quirewell.cli.main import main

TABLE = """wrap,hole,x_mm,y_mm,u_mm,hole_mm,state,left_mm,right_mm,head_mm,tail_mm
c,1,0.1,60,0.05,1.0,clean,-184,184,0,260
c,2,0.0,73,0.05,1.0,clean,,,,
c,3,0.1,187,0.05,1.0,clean,,,,
c,4,0.2,200,0.05,1.0,clean,,,,
w1,1,0.3,60.2,0.05,0.9,clean,-183,183,0,260
w1,2,0.2,73.1,0.05,0.9,torn,,,,
w1,3,0.3,187.2,0.05,0.9,clean,,,,
w1,4,0.4,200.1,0.05,0.9,clean,,,,
"""


def call(*words: str) -> Result:
    return CliRunner().invoke(main, ["sheet", *words])


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "holes.csv"
    path.write_text(TABLE)
    return path


def pages(path: Path) -> int:
    with pikepdf.open(io.BytesIO(path.read_bytes())) as pdf:
        return len(pdf.pages)


def test_the_plain_form_prints_the_light_box_sheet(table: Path, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    said = call(str(table), "-o", str(out))
    assert said.exit_code == 0, said.output
    assert pages(out) == 3
    assert "then 2 pages of a4" in said.stdout and "inner side up" in said.stdout
    assert "100 mm" in said.stdout
    told = json.loads(call(str(table), "-o", str(out), "--paper", "A3", "--json").stdout)
    assert (told["paper"], told["tiles"], told["landscape"]) == ("a3", ["A1"], True)
    assert told["marks"] == [] and told["check_bar_mm"] == 100
    assert [one["number"] for one in told["holes"]] == [1, 2, 3, 4]
    assert told["holes"][0]["slack_mm"] == pytest.approx(0.2)
    assert told["holes"][1]["slack_mm"] == pytest.approx(0.25)
    assert told["edges"] == ["c", "w01"]
    wide = json.loads(
        call("light-box", str(table), "-o", str(out), "--wire-mm", "0,6", "--outer-up",
             "--json").stdout
    )  # fmt: skip
    assert wide["laid"] == "outer side up"
    assert wide["holes"][0]["slack_mm"] == pytest.approx(0.15)
    assert [one["tiles"] for one in wide["marks"]] == [["A1", "A2"], ["A1", "A2"]]


def test_the_board_is_a_verb_of_its_own(table: Path, tmp_path: Path) -> None:
    out = tmp_path / "board.pdf"
    said = call("board", str(table), "-o", str(out))
    assert said.exit_code == 0, said.output
    assert pages(out) == 2
    assert "179.5 x 254.0 mm" in said.stdout
    told = json.loads(
        call("board", str(table), "-o", str(out), "--page-mm", "170 x 250", "--margin-mm", "5",
             "--slot-mm", "6", "--past-mm", "2", "--fold-mm", "0", "--json").stdout
    )  # fmt: skip
    assert told["board_mm"] == [165.0, 240.0]
    assert told["slots"][0]["y_mm"] == pytest.approx([58.2, 75.1])
    assert told["slots"][0]["x_mm"] == pytest.approx([0.0, 3.3])


def test_a_table_without_edges_prints_fold_and_holes_on_one_page(tmp_path: Path) -> None:
    table, out = tmp_path / "bare.csv", tmp_path / "bare.pdf"
    table.write_text("wrap,hole,x_mm,y_mm\nw1,1,0,60\nw1,2,0,73\n")
    told = json.loads(call(str(table), "-o", str(out), "--json").stdout)
    assert told["tiles"] == ["A1"] and told["edges"] == []
    assert told["holes"][0]["slack_mm"] is None
    assert pages(out) == 2


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--paper", "b5"), "'b5' is no paper known here; take a4, a3, letter or tabloid."),
        (("--wire-mm", "thin"), "--wire-mm is 'thin', which is no number"),
        (("--wire-mm", "nan"), "--wire-mm is 'nan', which is no number"),
        (("--wire-mm", "7"), "a staple's wire is 0 to 2 mm thick, got 7."),
    ],
)
def test_what_is_wrong_is_a_sentence(
    table: Path, tmp_path: Path, words: tuple[str, ...], says: str
) -> None:
    out = tmp_path / "sheet.pdf"
    said = call(str(table), "-o", str(out), *words, "--json")
    assert said.exit_code == 2
    assert says in json.loads(said.stdout)["error"]
    assert not out.exists()


def test_tables_that_hold_nothing_or_nonsense_are_sentences(tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    for text, says in (
        ("", "the table needs a header"),
        ("wrap,hole,x_mm,y_mm\n", "the table holds no rows"),
        ("wrap,hole,x_mm,y_mm,state\nc,1,,,missing\nw1,1,,,missing\n", "no sheet has a hole"),
        (TABLE.replace("c,4,0.2,200,", "c,4,0.2,290,").replace("200.1", "290.1"), "hole 4 lies"),
    ):
        path = tmp_path / "bad.csv"
        path.write_text(text)
        said = call(str(path), "-o", str(out))
        assert said.exit_code == 2 and says in said.stderr, said.output
    (tmp_path / "picture.csv").write_bytes(b"\xff\xfe\x00\x81")
    assert "no text in UTF-8" in call(str(tmp_path / "picture.csv"), "-o", str(out)).stderr
    assert "No such file" in call(str(tmp_path / "gone.csv"), "-o", str(out)).stderr
    assert not out.exists()


def test_files_it_cannot_or_should_not_write_are_sentences(table: Path, tmp_path: Path) -> None:
    assert "is the table itself" in call(str(table), "-o", str(table)).stderr
    assert table.read_text() == TABLE
    gone = call("board", str(table), "-o", str(tmp_path / "no" / "such" / "folder.pdf"))
    assert gone.exit_code == 2 and "No such file" in gone.stderr
    said = call("board", str(table), "-o", str(tmp_path / "b.pdf"), "--page-mm", "wide")
    assert "--page-mm is 'wide'; write a page's width and height in mm, as 184x260" in said.stderr
