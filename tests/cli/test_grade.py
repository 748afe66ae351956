"""``quirewell grade`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.grade import grade
from quirewell.stages.rule_table import built_in, rules_in_force

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/condition"
DEFECTS = str(EXAMPLES / "defects.csv")


def call(*arguments: str) -> Result:
    return CliRunner().invoke(grade, list(arguments))


def test_the_promised_keys_and_bands():
    out = json.loads(call(DEFECTS, "--json").stdout)
    assert {"raw", "grade", "interval", "binding", "deductions", "if_mended"} <= set(out)
    for one in (
        out["raw"],
        out["grade"],
        out["interval"],
        *(d["points"] for d in out["deductions"]),
    ):
        assert {"value", "u", "low90", "high90", "unit"} <= set(one)
        assert one["low90"] <= one["value"] <= one["high90"]
    assert out["raw"]["value"] == pytest.approx(5.37)
    assert out["grade"]["value"] == 5.0 and out["binding"] is None
    assert [one["code"] for one in out["deductions"][:2]] == ["crease_colour", "tear_cover"]


def test_the_card_reads_risk_before_gain():
    said = call(DEFECTS, "--returns", str(EXAMPLES / "returns.csv")).stdout
    assert said.index("Risk:") < said.index("At most") and "Removable" in said
    assert "Returned minus estimated" in said and "To narrow it" in said
    assert "told and not deducted" in said
    assert max(map(len, said.splitlines())) < 110


def test_a_repair_under_a_ceiling_says_that_it_gains_nothing(tmp_path: Path):
    table = tmp_path / "table.csv"
    table.write_text("code;extent\nbrittleness;\ntear_cover;about 20 mm", encoding="utf-8")
    said = " ".join(call(str(table)).stdout.split())
    assert "It gains nothing while a ceiling holds (brittleness: 2 at most)" in said


def test_the_rules_in_force_are_written_and_read_back(tmp_path: Path):
    plain, own = tmp_path / "rules.csv", tmp_path / "own.csv"
    assert call("--rules-out", str(plain)).exit_code == 0
    assert rules_in_force(plain.read_text()).rows == built_in().rows
    done = call(
        DEFECTS, "--rules", str(EXAMPLES / "own-rules.csv"), "--rules-out", str(own), "--json"
    )
    first = json.loads(done.stdout)
    again = json.loads(call(DEFECTS, "--rules", str(own), "--json").stdout)
    assert again["raw"] == first["raw"] and again["rules"]["sha256"] == first["rules"]["sha256"]
    assert json.loads(call(DEFECTS, "--json").stdout)["rules"] != first["rules"]


def test_rules_learnt_from_returns_are_written_and_read_back(tmp_path: Path):
    own = tmp_path / "learnt.csv"
    returns = str(EXAMPLES / "returns.csv")
    first = json.loads(
        call(DEFECTS, "--returns", returns, "--rules-out", str(own), "--json").stdout
    )
    again = json.loads(call(DEFECTS, "--rules", str(own), "--json").stdout)
    assert "; weights by returns.csv\n" in own.read_text()
    assert first["returns"]["used_for_weights"] and again["raw"] == first["raw"]
    assert again["rules"] == first["rules"]


def test_a_file_that_is_there_is_not_written_over(tmp_path: Path):
    kept = tmp_path / "rules.csv"
    kept.write_text("mine", encoding="utf-8")
    done = call(DEFECTS, "--rules-out", str(kept), "--json")
    assert done.exit_code == 2 and "is there already" in json.loads(done.stdout)["error"]
    assert kept.read_text() == "mine"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"), ("\n \n", "is empty"), ("code\n", "at least one row"),
        ("code,extent\ntear_cover,-3", "line 2: extent is 0 or more"),
        ("code,extent,unit\ntear_cover,3,kg", "unit is one of"),
        ("code\nbadness", "is no code"), ("code\nmould,3", "line 2 has 2 cells"),
    ],
)  # fmt: skip
def test_bad_damage_is_one_sentence_exit_2_and_nothing_written(tmp_path: Path, text, says):
    table, out = tmp_path / "table.csv", tmp_path / "out.csv"
    table.write_text(text, encoding="utf-8")
    done = call(str(table), "--rules-out", str(out), "--json")
    assert done.exit_code == 2 and says in json.loads(done.stdout)["error"]
    assert not out.exists()


@pytest.mark.parametrize(
    ("option", "text", "says"),
    [
        ("--returns", "item,returned,code\na,11,none", "returned is 11; a grade lies between"),
        ("--scale", "value,words\n1,low\n11,high", "line 3: value lies between 0 and 10, got 11"),
        ("--rules", "rule,value\nmould,11", "line 2: value lies between 0 and 10 points, got 11"),
        ("--rules", "", "is the table of rules"),
    ],
)
def test_a_grade_of_11_is_refused_wherever_it_stands(tmp_path: Path, option, text, says):
    table = tmp_path / "table.csv"
    table.write_text(text, encoding="utf-8")
    done = call(DEFECTS, option, str(table), "--json")
    assert done.exit_code == 2 and says in json.loads(done.stdout)["error"]


def test_nothing_given_is_a_sentence(tmp_path: Path):
    assert "Give DEFECTS" in call().stderr
    done = call("--rules-out", str(tmp_path / "a.csv"), "--returns", str(EXAMPLES / "returns.csv"))
    assert done.exit_code == 2 and "Returns need DEFECTS" in done.stderr
    assert not (tmp_path / "a.csv").exists()
