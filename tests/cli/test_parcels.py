"""``quirewell parcels`` through its public face."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner, Result

from parcel_studio import filler
from quirewell.cli.parcels import parcels
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.stages.overview import open_item
from quirewell.studio.studio import STUDIO, Studio

EXAMPLES = Path(__file__).resolve().parents[2] / "examples/parcels"


def call(*arguments: str) -> Result:
    return CliRunner().invoke(parcels, list(arguments))


def test_json_has_the_promised_keys_and_nothing_else_on_standard_output():
    """In a process of its own: the solver prints from C, past Python's own output."""
    done = subprocess.run(
        [sys.executable, "-c", "from quirewell.cli.main import main; main()", "parcels",
         str(EXAMPLES / "annual.toml"), "--json"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    out = json.loads(done.stdout)
    assert {"total_gain", "gap", "assignments", "not_sent"} <= set(out)
    assert set(out["total_gain"]) >= {"value", "u", "low90", "high90", "unit"}
    assert out["total_gain"]["unit"] == "crowns" and out["gap"] == 0
    for row in out["assignments"]:
        assert set(row["gain"]) == {"value", "u", "low90", "high90", "unit"} and row["says"]
    assert all(row["says"] for row in out["not_sent"])


def test_the_card_answers_first_and_says_why():
    said = call(str(EXAMPLES / "filler.toml")).stdout
    assert said.index("Send three now") < said.index("the plan gains") < said.index("Why")
    assert "52.00" in said and "proved the best" in said and "Companion 02 goes to fill" in said
    assert max(map(len, said.splitlines())) < 110


def test_what_if_and_the_packing_list(tmp_path):
    target = tmp_path / "packing.csv"
    done = call(str(EXAMPLES / "filler.toml"), "--outside", "Companion 02",
                "--without-tier", "three or more", "--packing-list", str(target))  # fmt: skip
    assert done.exit_code == 0 and "what was asked costs" in done.stdout
    assert target.read_text() == (
        "parcel,week,tier,item,way,declared,currency\n"
        "parcel,0,any number,Annual,as it is,160.00,crowns\n"
        "parcel,0,any number,Companion 01,as it is,160.00,crowns\n"
    )


def test_a_fault_is_a_sentence(tmp_path):
    wrong = tmp_path / "plan.toml"
    wrong.write_text("nothing = 1\n")
    done = call(str(wrong), "--json")
    assert done.exit_code == 2 and "knows no 'nothing'" in json.loads(done.stdout)["error"]
    done = call(str(EXAMPLES / "filler.toml"), "--inside", "nobody")
    assert done.exit_code == 2 and "no open item 'nobody'" in done.stderr
    done = call(str(EXAMPLES / "filler.toml"), "--packing-list", str(tmp_path / "no/where.csv"))
    assert done.exit_code == 2 and "cannot be written" in done.stderr


def test_a_studio_is_planned_with_what_was_typed_on_its_page(tmp_path):
    """The hand case again, 52 with the filler, out of a studio's own items and terms."""
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        bench, service = filler()
        for title in ("Annual", "One", "Two"):
            studio.append(title.lower(), 0, open_item(title.lower(), {"title": title}))
        draft = Draft(STUDIO, "service.kept", to_body(bench.services[service]))
        studio.append(STUDIO, None, [draft])
        before = studio.head()
    out = json.loads(call("--studio", str(folder), "--json").stdout)
    assert out["total_gain"]["value"] == 52
    assert out["items"] == {"Annual": "annual", "One": "one", "Two": "two"}
    assert "Send three now" in call("--studio", str(folder), "--receiver", "the service").stdout
    lower = json.loads(call("--studio", str(folder), "--outside", "Two", "--json").stdout)
    assert lower["total_gain"]["value"] == 30
    with Studio.open(folder) as studio:
        assert studio.head() == before, "planning keeps nothing"


def test_a_studio_and_a_file_at_once_or_neither_or_no_receiver_are_sentences(tmp_path):
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench"):
        pass
    both = call(str(EXAMPLES / "filler.toml"), "--studio", str(folder))
    assert both.exit_code != 0 and "a plan file, or --studio" in both.output
    assert "a plan file, or --studio" in call().output
    assert "no receiver is named yet" in call("--studio", str(folder)).output
    assert "there is no studio" in call("--studio", str(tmp_path / "none")).output
