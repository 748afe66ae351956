"""``quirewell log``: entries from a script, on the disk when it returns, and once."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.main import main
from quirewell.stages.overview import open_item
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "larkmoor"
    with Studio.create(folder, "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "4"}
        studio.append(ITEM, 0, open_item(ITEM, form))
    return folder


def run(folder: Path, *arguments: str, stdin: str = "") -> Result:
    return CliRunner().invoke(main, ["log", *arguments, "--studio", str(folder)], input=stdin)


def told(folder: Path, *arguments: str, stdin: str = "") -> Any:
    return json.loads(run(folder, *arguments, "--json", stdin=stdin).stdout)


def state(folder: Path) -> Any:
    with Studio.open(folder) as studio:
        return studio.state(ITEM)


def test_a_reading_as_people_write_it_is_kept_as_typed(folder: Path) -> None:
    said = told(folder, "reading", "pH 7.9 at 21C", "--place", "w03", "--moment", "after")
    assert said["saved"] and not said["again"] and "wrap 3" in said["says"]
    (held,) = state(folder).readings.values()
    assert (str(held.value), str(held.temperature_c), held.place) == ("7.9", "21", "w03")
    assert run(folder, "reading", "184.5 x 260", "--place", "w03").exit_code == 0
    assert {one.quantity for one in state(folder).readings.values()} == {"pH", "width", "height"}


def test_an_entry_with_a_name_is_saved_once_however_often_it_is_sent(folder: Path) -> None:
    first = told(folder, "reading", "4.7 g", "--once", "scale, sheet 1")
    for _ in range(3):
        again = told(folder, "reading", "4.7 g", "--once", "scale, sheet 1")
        assert again["again"] and again["seq"] == first["seq"]
    assert len(state(folder).readings) == 1
    assert not told(folder, "reading", "4.7 g", "--once", "scale, sheet 2")["again"]


def test_a_step_is_begun_and_ended_by_its_instants(folder: Path) -> None:
    begun = told(folder, "start", "surface-clean", "--places", "3-4", "--planned", "15")
    step = next(iter(state(folder).steps.values()))
    assert step.id in begun["record"].split() and str(step.planned_minutes) == "15"
    assert told(folder, "done", step.id, "--note", "dusty")["saved"]
    step = state(folder).steps[step.id]
    assert (step.state, step.note) == ("done", "dusty")


def test_a_caution_stands_before_a_script_too(folder: Path) -> None:
    refused = run(folder, "start", "wash", "--places", "w03")
    assert refused.exit_code == 2 and not state(folder).steps
    assert "ink test" in refused.stderr
    reason = ("--override", "a scrap without print")
    assert run(folder, "start", "wash", "--places", "w03", *reason).exit_code == 0
    assert all("a scrap" in one.reason for one in state(folder).overrides.values())


def test_many_lines_are_told_one_by_one_and_a_second_run_saves_nothing(folder: Path) -> None:
    entries = [
        {"command": "reading", "value": "L* 78", "place": "w01", "moment": "before"},
        {"command": "reading", "value": "nonsense"},
        {"command": "wrong", "what": "corner torn off wet", "place": "w01", "kind": "tear"},
        {"command": "note", "words": "quiet evening"},
        {"command": "fly"},
        {"command": "note", "words": "x", "charm": "y"},
    ]
    text = "\n".join(json.dumps(one) for one in entries) + "\nnot json\n[1]\n"
    answer = run(folder, "lines", "-", "--json", stdin=text)
    got = json.loads(answer.stdout)
    assert answer.exit_code == 1 and got["saved"] == 3
    assert [one["saved"] for one in got["entries"]] == [
        True, False, True, True, False, False, False, False,
    ]  # fmt: skip
    assert next(iter(state(folder).mishaps.values())).kind == "tear"
    version = state(folder).version
    again = told(folder, "lines", "-", stdin=text)
    assert again["saved"] == 3 and all(one.get("again", True) for one in again["entries"])
    assert state(folder).version == version


def test_a_time_that_cannot_be_is_refused(folder: Path) -> None:
    for at in ("2099-01-01T00:00:00Z", "2001-01-01T00:00:00Z", "yesterday", "2026-11-28T10:00:00"):
        refused = run(folder, "note", "late", "--at", at)
        assert refused.exit_code == 2 and refused.stderr.startswith("quirewell: "), at
    assert not state(folder).item.notes


def test_an_item_that_is_not_there_is_said(folder: Path) -> None:
    refused = run(folder, "note", "x", "--item", "no such thing")
    assert refused.exit_code == 2 and ITEM in refused.stderr
