"""``quirewell plan`` through its public face."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import vobject
from click.testing import CliRunner, Result

from bench_plans import COURSE, plan_text
from quirewell.cli.plan import plan
from quirewell.record.benchwork import Recipe
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.record.nouns import Gathering
from quirewell.stages.overview import open_item
from quirewell.studio.studio import STUDIO, Studio

EXAMPLE = Path(__file__).resolve().parents[2] / "examples/bench_plan/annual.toml"


def call(*arguments: str) -> Result:
    return CliRunner().invoke(plan, list(arguments))


def written(folder: Path, text: str = "") -> str:
    target = folder / "plan.toml"
    target.write_text(text or plan_text(), encoding="utf-8")
    return str(target)


def test_json_has_the_promised_keys_and_nothing_else_on_standard_output():
    """In a process of its own: the solver could print from C, past Python's own output."""
    done = subprocess.run(
        [sys.executable, "-c", "from quirewell.cli.main import main; main()", "plan",
         str(EXAMPLE), "--json"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    out = json.loads(done.stdout)
    assert {"status", "makespan_min", "bound_min", "finish", "steps"} <= set(out)
    assert out["status"] in ("proved", "found") and out["bound_min"] <= out["makespan_min"]
    assert out["zone"] == "Europe/Lisbon" and out["start"] == "2026-12-01T18:00+00:00"
    sheets = {sheet for row in out["steps"] for sheet in row["sheets"]}
    assert sheets == {f"w{n:02d}" for n in range(1, 10)}


def test_the_table_says_how_sure_first_then_day_by_day(tmp_path):
    said = call(written(tmp_path)).stdout
    assert said.index("Proved best") < said.index("work with hands") < said.index("Friday 23")
    assert "goes on by itself" in said and max(map(len, said.splitlines())) <= 100


def test_the_calendar_is_written_and_the_same_file_is_moved_later(tmp_path):
    target = tmp_path / "bench.ics"
    out = json.loads(call(written(tmp_path), "--ics", str(target), "--json").stdout)
    first = vobject.readOne(target.read_bytes().decode()).vevent_list
    assert first[0].dtstart.value == datetime.fromisoformat(out["start"])
    later = plan_text().replace("2026-10-23T18:00:00", "2026-10-23T19:00:00")
    text = later.replace("start = ", "now = ").replace("[plan]", "[plan]\nstart = "
                                                       "2026-10-23T18:00:00")  # fmt: skip
    call(written(tmp_path, text), "--ics", str(target))
    second = vobject.readOne(target.read_bytes().decode()).vevent_list
    assert {e.sequence.value for e in second} == {"1"}
    assert {e.uid.value for e in first} <= {e.uid.value for e in second}
    assert not list(tmp_path.glob("*.new"))


def test_a_fault_is_a_sentence_and_no_file_is_written_over(tmp_path):
    wrong = call(written(tmp_path, "nothing = 1"), "--json")
    assert wrong.exit_code == 2 and "knows no 'nothing'" in json.loads(wrong.stdout)["error"]
    assert call().exit_code == 2 and "Give a plan file" in call().output
    other = tmp_path / "letter.ics"
    other.write_text("Dear Sir", encoding="utf-8")
    refused = call(written(tmp_path), "--ics", str(other))
    assert refused.exit_code == 2 and "no calendar of a bench plan" in refused.output
    assert other.read_text(encoding="utf-8") == "Dear Sir"
    away = call(written(tmp_path), "--ics", str(tmp_path / "no/where.ics"))
    assert away.exit_code == 2 and "cannot be written" in away.output
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    assert "no text" in call(str(tmp_path / "binary.toml")).output


def test_what_cannot_be_done_is_an_answer_and_no_calendar(tmp_path):
    tight = written(tmp_path, plan_text("days = 5", "", 'hours = "18:00-18:30"'))
    done = call(tight)
    assert done.exit_code == 0 and "Cannot be done: these rules conflict" in done.stdout
    none = call(tight, "--ics", str(tmp_path / "x.ics"))
    assert none.exit_code == 2 and not (tmp_path / "x.ics").exists()


def test_the_plain_rule_needs_no_solver(tmp_path):
    out = json.loads(call(written(tmp_path), "--by-rule", "--json").stdout)
    assert out["by"] == "rule" and out["status"] == "found"


def test_a_studios_item_is_planned_and_nothing_is_kept(tmp_path):
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        studio.append("annual", 0, open_item("annual", {"title": "Copperbeck Garden Annual"}))
        state = studio.state("annual")
        studio.append(
            "annual", state.version, [Draft("annual", "gathering.described", to_body(Gathering(2)))]
        )
        recipe = Recipe("recipe-1", "short-way", 1, "Washed and dried", COURSE)
        studio.append(STUDIO, None, [Draft(STUDIO, "recipe.kept", to_body(recipe))])
        head = studio.head()
    out = json.loads(call("--studio", str(folder), "--item", "annual", "--recipe", "short-way",
                          "--start", "2026-10-23T18:00", "--json").stdout)  # fmt: skip
    assert out["items"] == {"Copperbeck Garden Annual": "annual"} and out["status"] == "proved"
    with Studio.open(folder) as studio:
        assert studio.head() == head
    assert "with --item; there are annual" in call("--studio", str(folder)).output
    assert "Choose a recipe" in call("--studio", str(folder), "--item", "annual").output
    assert "there is no studio" in call("--studio", str(tmp_path / "none")).output
