"""Independent readers take an archive of ours, and refuse one with a planted fault.

bagit 1.9.0 (RFC 8493), roc-validator 0.13.0 with its profile of RO-Crate 1.3, rocrate 0.16.0,
csvw 4.1.1 (its validator and its table reader), iiif-prezi3 3.1.1 (Presentation 3), jsonschema with
the profile of docs/reference/annotations.md. All without a network.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive_case import archive_studio
from quirewell.exchange.make import Wish, make

pytestmark = pytest.mark.peers
ROOT = Path(__file__).parents[2]
PEERS = ROOT / ".venv-archive" / "bin" / "python"
SCRIPT = Path(__file__).with_name("archive_oracle.py")


def ask(bag: Path, *parts: str) -> dict[str, list[str]]:
    """What the readers complain of."""
    ran = subprocess.run(
        [PEERS, SCRIPT, bag, *parts], capture_output=True, text=True, timeout=300, check=False
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    said: dict[str, list[str]] = json.loads(ran.stdout.splitlines()[-1])
    return said


@pytest.fixture(scope="module")
def bags(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("bags")
    archive_studio(folder / "home").close()
    make(folder / "home", folder / "whole")
    make(folder / "home", folder / "one", Wish("annual", tiles=False, licence="CC0-1.0"))
    return {name: folder / name for name in ("whole", "one")}


@pytest.mark.parametrize("name", ["whole", "one"])
def test_every_reader_takes_it(bags: dict[str, Path], name: str) -> None:
    said = ask(bags[name])
    assert set(said) == {"bagit", "validator", "rocrate", "csvw", "csvwvalidate", "iiif",
                         "annotations"}  # fmt: skip
    assert said == {part: [] for part in said}


def _json(path: str, change: Callable[[Any], None]) -> Callable[[Path], None]:
    def plant(bag: Path) -> None:
        place = bag / "data" / path
        said = json.loads(place.read_text("utf-8"))
        change(said)
        place.write_text(json.dumps(said), encoding="utf-8")

    return plant


def _text(path: str, old: str, new: str) -> Callable[[Path], None]:
    def plant(bag: Path) -> None:
        place = bag / path
        with place.open(encoding="utf-8", newline="") as stream:
            text = stream.read()
        found = re.sub(old, new, text, count=1)
        assert found != text, f"nothing was planted in {path}"
        with place.open("w", encoding="utf-8", newline="") as stream:
            stream.write(found)

    return plant


def _root(said: Any) -> Any:
    return next(one for one in said["@graph"] if one["@id"] == "./")


def _first(said: Any) -> Any:
    return said["first"]["items"][0]


CRATE, MANIFEST, NOTES = (
    "ro-crate-metadata.json",
    "iiif/annual/manifest.json",
    "annotations/annual.json",
)
FAULTS: dict[str, tuple[str, Callable[[Path], None]]] = {
    "a changed reading": ("bagit", _text("data/tables/readings.csv", "5.10", "5.20")),
    "a missing file": ("bagit", lambda bag: (bag / "data" / "record" / "annual.json").unlink()),
    "a file too many": ("bagit", lambda bag: _write(bag / "data" / "more.txt")),
    "a changed tag file": ("bagit", _text("bag-info.txt", "Larkmoor", "Larkmore")),
    "no licence": ("validator", _json(CRATE, lambda said: _root(said).pop("license"))),
    "no name": ("validator", _json(CRATE, lambda said: _root(said).pop("name"))),
    "a crate of nothing": ("validator", _json(CRATE, lambda said: said["@graph"].pop(0))),
    "a file that is not there": (
        "rocrate", lambda bag: (bag / "data" / "README.txt").unlink()
    ),
    "no root": ("rocrate", _json(CRATE, lambda said: said["@graph"].remove(_root(said)))),
    "a word for a number": (
        "csvw", _text("data/tables/readings.csv", r"pH,5\.10,", "pH,about five,")
    ),
    "a key twice": ("csvw", _text("data/tables/readings.csv", ",r2,", ",r1,")),
    "a run that is not there": ("csvw", _text("data/tables/findings.csv", "rm-cb,1,", "rm-xx,1,")),
    "a column too few": ("csvwvalidate", _text("data/tables/readings.csv", ",record_id,", ",")),
    "a name that is no address": (
        "iiif", _json(MANIFEST, lambda said: said.update(id="manifest one"))
    ),
    "a canvas without a size": ("iiif", _json(MANIFEST, lambda said: said["items"][0].update(
        width="wide"))),
    "no label": ("iiif", _json(MANIFEST, lambda said: said.pop("label"))),
    "a script in a shape": ("annotations", _text(
        "data/annotations/annual.json", "<path", "<script>1</script><path")),
    "no term": ("annotations", _json(NOTES, lambda said: _first(said)["body"].pop(0))),
}  # fmt: skip


def _write(place: Path) -> None:
    place.write_text("not listed")


@pytest.mark.parametrize("fault", list(FAULTS))
def test_a_planted_fault_is_refused(bags: dict[str, Path], tmp_path: Path, fault: str) -> None:
    part, plant = FAULTS[fault]
    shutil.copytree(bags["one"], tmp_path / "bag")
    plant(tmp_path / "bag")
    assert ask(tmp_path / "bag", part)[part], f"{part} took an archive with {fault}"
