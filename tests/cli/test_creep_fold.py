"""``quirewell creep``, ``fold`` and ``order`` through their public faces."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.creep import creep
from quirewell.cli.fold import fold, order

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/rejoin"


def call(command, *arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments))


def test_creep_of_the_example():
    out = json.loads(call(creep, str(EXAMPLES / "widths.csv"), "--json").stdout)
    assert out["kappa_t_mm"]["low90"] < 0.11 < out["kappa_t_mm"]["high90"]
    assert [one["wrap"] for one in out["outliers"]] == ["w06"]
    said = call(creep, str(EXAMPLES / "widths.csv")).stdout
    assert "Wrap 6 is" in said and "Before" not in said and "±" in said
    assert max(map(len, said.splitlines())) < 110


def test_fold_gives_the_promised_keys():
    out = json.loads(call(fold, "--front-now-mm", "1.4", "--back-now-mm", "0.2", "--json").stdout)
    assert {"front_mm", "back_mm", "shift_mm", "crease_mm", "choices", "cautions"} <= set(out)
    assert out["front_mm"]["value"] + out["back_mm"]["value"] == pytest.approx(1.6)
    rolled = ("--bevel-mm", "1.4", "--leaves", "18", "--roll-after-mm", "0.2")
    out = json.loads(call(fold, *rolled, "--json").stdout)
    assert {"lead_after_mm", "roll_change_mm", "roll_seen_mm"} <= set(out)
    assert "the roll is less" in call(fold, *rolled).stdout
    said = call(fold, "--widths", str(EXAMPLES / "widths.csv")).stdout
    assert said.index("Before you begin") < said.index("Each fold")
    assert "Wrap 3: work the fold" in said


def test_order_of_the_example():
    out = json.loads(call(order, str(EXAMPLES / "pages.csv"), "--wraps", "9", "--json").stdout)
    assert {one["kind"] for one in out["told"]} >= {"missing", "out of order"}
    said = call(order, str(EXAMPLES / "pages.csv"), "--wraps", "9").stdout
    assert "Wrap 8 is not there" in said


def test_order_with_a_single_leaf():
    table = str(EXAMPLES / "pages-leaf.csv")
    out = json.loads(call(order, table, "--wraps", "9", "--json").stdout)
    assert out["single_leaves"] == [
        {"name": "Single leaf 1", "pages": [17, 18], "counted": True, "after": 16}
    ]
    assert [one["kind"] for one in out["told"]] == ["insert", "out of order"]
    said = call(order, table, "--wraps", "9").stdout
    assert "Single leaf 1: 17, 18 (counted, behind page 16)" in said


@pytest.mark.parametrize(
    ("command", "text", "says"),
    [(creep, b"\xff\xfe\x00", "no text in UTF-8"), (order, b"wrap\nw01", "position is not there"),
     (creep, b"wrap;width_mm\nq;3", "names no sheet")],
)  # fmt: skip
def test_a_wrong_file_is_a_sentence_and_exit_2(tmp_path, command, text, says):
    table = tmp_path / "table.csv"
    table.write_bytes(text)
    done = call(command, str(table), "--json")
    assert done.exit_code == 2 and says in json.loads(done.stdout)["error"]


def test_a_picture_that_shows_nothing_is_a_sentence(tmp_path):
    picture = tmp_path / "head.png"
    picture.write_bytes(b"no picture")
    done = call(fold, "--head", str(picture), "--json")
    assert done.exit_code == 2 and json.loads(done.stdout)["error"]
