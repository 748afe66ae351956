"""``quirewell damage`` as it is used: list, write, read back."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from annotated import assert_collection, many_kinds
from quirewell.cli.main import main
from quirewell.record.codec import to_body
from quirewell.record.event import Draft
from quirewell.stages.overview import open_item
from quirewell.studio.studio import Studio


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "studio"
    with Studio.create(made, "Larkmoor paper bench") as studio:
        form = {"title": "Copperbeck Garden Annual", "year": "1936", "wraps": "2"}
        studio.append("annual", 0, open_item("annual", form))
        drafts = [
            Draft("annual", "defect.noted", to_body(one)) for one in many_kinds().defects.values()
        ]
        studio.append("annual", None, drafts)
    return made


def run(folder: Path, *words: str, item: str = "annual") -> Result:
    return CliRunner().invoke(main, ["damage", item, "--studio", str(folder), *words])


def test_the_listing_numbers_says_and_adds_up(folder: Path) -> None:
    said = run(folder, item="Copperbeck Garden Annual")
    assert said.exit_code == 0
    assert "42.0 ± 1.5 mm; opens at a touch [drawn by hand]" in " ".join(said.output.split())
    assert "Added up" in said.output and "After treatment" in said.output
    data = json.loads(run(folder, "--json").stdout)
    assert len(data["damage"]) == 6
    assert data["damage"][3]["measured"] == [{"value": 42.0, "u": 0.75, "unit": "mm"}]


def test_files_are_written_once_and_read_back(folder: Path, tmp_path: Path) -> None:
    out = [str(tmp_path / name) for name in ("d.json", "d.csv", "d.svg")]
    words = ["--annotations", out[0], "--schedule", out[1], "--drawing", out[2]]
    assert run(folder, *words).exit_code == 0
    assert_collection(json.loads(Path(out[0]).read_text()))
    assert Path(out[1]).read_text().count("\n") == 7
    ElementTree.parse(out[2])
    again = run(folder, *words)
    assert again.exit_code == 2 and "d.json is there already" in again.output
    read = json.loads(run(folder, "--read", out[0], "--json").stdout)
    assert read["read"] == {"noted": [], "told": []}
    new = Path(out[0])
    new.write_text(new.read_text().replace(":defect:d1", ":defect:d9"))
    read = json.loads(run(folder, "--read", out[0], "--json").stdout)
    assert read["read"]["noted"] == ["d9"] and len(read["damage"]) == 7


def test_a_bad_file_or_item_ends_in_a_sentence(folder: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.json"
    bad.write_text("[]")
    said = run(folder, "--read", str(bad))
    assert (
        said.exit_code == 2 and "bad.json: a file of annotations is one JSON object" in said.output
    )
    said = run(folder, "--json", item="almanac")
    assert said.exit_code == 2 and "almanac" in json.loads(said.stdout)["error"]
