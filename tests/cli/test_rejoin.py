"""``quirewell rejoin`` through its public face."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from click.testing import CliRunner, Result

from laid_sheets import planted
from quirewell.cli.rejoin import rejoin
from quirewell.stages.hole_table import write_holes

EXAMPLE = Path(__file__).resolve().parents[2] / "examples/rejoin/holes.csv"


def call(*arguments: str) -> Result:
    return CliRunner().invoke(rejoin, list(arguments))


def test_json_gives_the_promised_keys_and_the_rms_of_theory(tmp_path):
    table = tmp_path / "holes.csv"
    table.write_text(write_holes(planted(np.random.default_rng(1936))[0]))
    out = json.loads(call(str(table), "--json").stdout)
    # sigma sqrt(5 (N - 1) / 4 N) for sigma 0.08 mm, derived in test_align.py; a draw scatters.
    assert abs(out["rms_mm"] / 0.0864 - 1) < 0.25
    assert out["max_mm"] > out["rms_mm"]
    assert len(out["wraps"]) == 15
    for one in out["wraps"]:
        assert {
            "name", "dx_mm", "dy_mm", "turn_mrad", "residual_mm", "slack_used", "edge_excess_mm",
            "costs", "flags",
        } <= set(one)  # fmt: skip
        assert one["edge_excess_mm"] is None and one["slack_used"] == [None] * 4
    assert not any(one["flags"] for one in out["wraps"])


def test_in_words_the_example_says_what_to_look_at():
    said = call(str(EXAMPLE)).stdout
    assert "Hole 1 lies" in said and "Wrap 6" in said
    assert "One staple lost" in said
    assert "stays" in said and "In mm" in said
    rows = [line for line in said.splitlines() if line.startswith("  Wrap ")]
    assert len(rows) == 8 and all("±" in row for row in rows)
    assert max(map(len, said.splitlines())) < 100


def test_the_wire_changes_the_slack():
    used = [
        json.loads(call(str(EXAMPLE), "--wire-mm", wire, "--json").stdout)["wraps"][0]["slack_used"]
        for wire in ("0.5", "0.3")
    ]
    assert used[0][0] > used[1][0]
    none = json.loads(call(str(EXAMPLE), "--wire-mm", "2", "--json").stdout)
    assert none["wraps"][0]["slack_used"] == [None] * 4


def test_faults_are_sentences(tmp_path):
    wrong = tmp_path / "holes.csv"
    for data, says in (
        (b"wrap,hole,x_mm,y_mm\nc,1,a,60\n", "line 2"),
        (b"\xff\xfe\x00\x01", "UTF-8"),
        (b"c" * 4_100_000, "too large"),
        (b"wrap,hole,x_mm,y_mm\nc,1,0,60\n", "two sheets"),
    ):
        wrong.write_bytes(data)
        result = call(str(wrong), "--json")
        assert result.exit_code == 2 and says in json.loads(result.stdout)["error"]
    assert call(str(tmp_path / "gone.csv")).exit_code == 2
    assert "0 to 20" in call(str(EXAMPLE), "--edge-mm", "-3").stderr
