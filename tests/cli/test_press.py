"""``quirewell press``, ``iron``, ``chamber``, ``dry`` through their public faces."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.damp import chamber, dry
from quirewell.cli.press import iron, press
from quirewell.cli.studio import studio

STACKS = Path(__file__).resolve().parents[2] / "examples" / "stacks"


def call(command, *arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments))


def test_a_stack_file_gives_the_promised_keys():
    out = json.loads(call(press, str(STACKS / "case-c.toml"), "--json").stdout)
    for three in (
        out["centre"]["t50_s"], out["centre"]["temperature_c_at_end"], out["water"]["lost_g_m2"],
        out["water"]["lost_pct"], out["cold_face"]["moisture_kg_kg"], out["rh"]["max"],
        out["cool_to_25c_s"], out["dose"]["days"],
    ):  # fmt: skip
        assert three["low"] <= three["mid"] <= three["high"]
        assert {"value", "u", "low90", "high90", "unit"} <= set(three)
    assert out["cold_face"]["u"] == out["cold_face"]["moisture_kg_kg"]
    assert {"level", "code", "time", "layer"} == set(out["alarms"][0])
    assert abs(out["balance_error_rel"]) < 1e-9


def test_in_words_it_says_what_to_change():
    said = call(press, str(STACKS / "practice.toml")).stdout
    assert "What helps most" in said and "(90 %)" in said
    assert "no band" in said and "g/m² taken up" in said


@pytest.mark.parametrize(
    ("command", "arguments", "danger"),
    [
        (press, (str(STACKS / "case-a.toml"),), "burns"),
        (iron, (), "burns"),
        (chamber, (), "mask"),
        (dry, (), "no strength"),
    ],
)
def test_dangers_come_before_any_number(command, arguments, danger):
    said = call(command, *arguments).stdout
    told, then = said.split("Before you begin")[1].split("\n\n", 1)
    assert danger in told and "In a sentence" not in told and any(map(str.isdigit, then))
    cautions = json.loads(call(command, *arguments, "--json").stdout)["cautions"]
    assert cautions and all(isinstance(one, str) and one.endswith(".") for one in cautions)
    assert any(danger in one for one in cautions)


def test_water_taken_up_has_a_row_of_its_own_name(tmp_path):
    (tmp_path / "dry.toml").write_text('start_rh_pct = 20\nheat = "none"\nminutes = 60\n')
    said = call(press, str(tmp_path / "dry.toml")).stdout
    (row,) = [line for line in said.splitlines() if "water taken up, g/m²" in line]
    low, middle, high = (float(one) for one in row.split("g/m²")[1].split())
    assert 0 < low <= middle <= high


@pytest.mark.parametrize("name", sorted(path.stem for path in STACKS.glob("*.toml")))
def test_each_example_says_what_it_is_and_that_it_is_no_preset(name):
    text = (STACKS / f"{name}.toml").read_text("utf-8")
    assert text.startswith("# ") and "preset" in text


@pytest.mark.parametrize(
    ("text", "says"),
    [("above = [", "no stack file"), ("platen_c = 121", "15 to 95 °C"), ("x = 1", "knows no 'x'")],
)
def test_a_bad_stack_file_is_a_sentence(tmp_path, text, says):
    (tmp_path / "mine.toml").write_text(text)
    result = call(press, str(tmp_path / "mine.toml"), "--json")
    assert result.exit_code == 2 and says in json.loads(result.stdout)["error"]
    assert call(press, str(tmp_path / "none.toml")).exit_code == 2


def test_iron_chamber_and_dry_answer_on_nothing_but_defaults():
    for command, key in ((iron, "peak_c"), (chamber, "water_g"), (dry, "restrain_min")):
        out = json.loads(call(command, "--json").stdout)
        assert {"value", "low90", "high90", "unit"} <= set(out[key]) and out["says"]
        assert "In a sentence" in call(command).stdout


@pytest.mark.parametrize(
    ("command", "arguments", "says"),
    [
        (iron, ("--iron-c", "121", "--rh-pct", "80"), "steam"),
        (chamber, ("--rh-pct", "0.95"), "per cent"),
        (dry, ("--wet-g-g", "lots"), "lots"),
    ],
)
def test_faults_are_sentences(command, arguments, says):
    result = call(command, *arguments)
    assert result.exit_code == 2 and says in result.stderr


def test_a_press_is_calibrated_kept_and_used(tmp_path):
    stack = tmp_path / "dummy.toml"
    stack.write_text('wraps = 4\nstart_rh_pct = 70\nbelow = ["blotter", "thin board"]\n')
    log = tmp_path / "log.csv"
    centre = [20.0, 30.5, 38.6, 44.1, 47.9, 50.4, 52.0, 53.1, 53.9, 54.4, 54.8]
    log.write_text("time_min,centre C\n" + "".join(f"{n},{v}\n" for n, v in enumerate(centre)))
    folder = str(tmp_path / "studio")
    assert call(studio, "new", folder).exit_code == 0
    out = json.loads(
        call(
            press, "calibrate", str(stack), str(log), "--before-g", "40.0", "--after-g", "38.9",
            "--weighed-min", "15", "--studio", folder, "--press", "book press", "--json",
        ).stdout
    )  # fmt: skip
    assert out["kept"].startswith("press-")
    assert set(out["factors"]) == {
        "paper", "hard", "platen", "leaf_mu", "other_mu", "conducts",
    }  # fmt: skip
    plain = json.loads(call(press, str(stack), "--json").stdout)
    mine = json.loads(
        call(press, str(stack), "--studio", folder, "--press", "book press", "--json").stdout
    )
    spans = [
        one["water"]["lost_g_m2"]["high"] - one["water"]["lost_g_m2"]["low"]
        for one in (plain, mine)
    ]
    assert out["contradiction"] is None
    assert spans[1] < 0.8 * spans[0]
    refused = call(press, str(stack), "--studio", folder, "--press", "other")
    assert refused.exit_code == 2
    assert "No calibration of 'other'" in refused.stderr


def test_calibrating_from_nothing_is_a_sentence(tmp_path):
    stack = tmp_path / "dummy.toml"
    stack.write_text("wraps = 4\n")
    assert "nothing was read" in call(press, "calibrate", str(stack)).stderr
    gone = call(press, "calibrate", str(stack), str(tmp_path / "gone.csv"), "--json")
    assert gone.exit_code == 2
    assert "cannot be opened" in json.loads(gone.stdout)["error"]
    half = call(press, "calibrate", str(stack), "--before-g", "40")
    assert "before and after" in half.stderr
