"""The evidence on the command line: JSON alone on standard output, sentences for faults."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from quirewell.cli.main import main
from quirewell.stages.margins import lock_presets
from quirewell.stages.overview import open_item
from quirewell.stages.reading_entry import record_reading
from quirewell.studio.studio import Studio

ITEM = "copperbeck-garden-annual"


def run(folder: Path, *args: str) -> Result:
    return CliRunner().invoke(main, ["prove", *args, "--studio", str(folder)])


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    """Six leaves read with a steel rule at both moments, margins locked before."""
    folder = tmp_path / "studio"
    with Studio.create(folder, "Larkmoor paper bench") as made:
        form = {"title": "Copperbeck Garden Annual", "wraps": "6"}
        made.append(ITEM, 0, open_item(ITEM, form))
        made.append(ITEM, None, lock_presets(made.state(ITEM), {"at": "2026-03-04T18:40:00Z"}))
        for moment, values in (("before", "184.5 184.0 184.5 184.5 184.0 184.5"),
                               ("after", "184.5 184.5 184.5 184.0 184.0 184.5")):  # fmt: skip
            for at, value in enumerate(values.split(), 1):
                reading = {"place": f"w{at:02d}.outer.right", "quantity": "width",
                           "value": value, "moment": moment, "resolution": "0.5"}  # fmt: skip
                made.append(ITEM, None, record_reading(made.state(ITEM), reading))
    return folder


def test_it_says_what_is_to_be_worked_out_and_works_it_out_when_asked(studio: Path) -> None:
    first = json.loads(run(studio, "--json").stdout)
    assert first["evidence"] == [] and first["out_of_date"] == 1
    done = json.loads(run(studio, ITEM, "--work", "--json").stdout)
    (width,) = done["evidence"]
    assert width["quantity"] == "size.width_mm" and done["out_of_date"] == 0
    change = width["numbers"]["change"]
    assert change["value"] == pytest.approx(0.0) and change["unit"] == "mm"
    assert {"u", "low90", "high90", "smallest_seen", "terms"} <= set(change)
    assert width["numbers"]["margin"]["value"] == 0.5
    assert done["margins"][0]["in_time"] is True
    # What was worked out once stands: asked again it is the same.
    assert json.loads(run(studio, "--work", "--json").stdout)["evidence"] == done["evidence"]


def test_the_card_reads_as_sentences(studio: Path) -> None:
    shown = run(studio, "--work")
    assert shown.exit_code == 0
    assert "Width of the leaves" in shown.stdout and "What would narrow it most" in shown.stdout
    assert "0.5 mm" in shown.stdout


def test_faults_are_sentences(studio: Path, tmp_path: Path) -> None:
    nobody = run(studio, "larkmoor seed list", "--json")
    assert nobody.exit_code == 2 and "holds copperbeck" in json.loads(nobody.stdout)["error"]
    nowhere = run(tmp_path / "none", "--json")
    assert nowhere.exit_code == 2 and json.loads(nowhere.stdout)["error"]
