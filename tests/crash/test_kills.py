"""Killed at any moment nothing acknowledged is lost; and a fault that is planted is found.

The long form, of more than 500 kills, is ``make crash``.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from crash import run
from crash.bench import Bench
from crash.children import Nursery
from quirewell.studio.check import check
from quirewell.studio.studio import Studio
from studio_help import ITEM, studio_with_item

RESULTS = Path(run.__file__).with_name("results.json")
WRITER = """
import sys
from quirewell.record.event import Draft
from quirewell.studio.studio import Studio
with Studio.open(sys.argv[1]) as studio:
    for number in range(20):
        body = {"id": f"{sys.argv[3]}-{number}", "place": "w01", "term": "fold"}
        studio.append(sys.argv[2], None, [Draft(sys.argv[2], "defect.noted", body)])
"""


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    with Nursery() as made:
        yield made


@pytest.fixture
def bench(tmp_path: Path, nursery: Nursery) -> Iterator[Bench]:
    with Bench(tmp_path, seed=7, say=lambda text: None, nursery=nursery) as made:
        yield made


@pytest.mark.slow
def test_killed_savings_lose_nothing(bench: Bench) -> None:
    _killed(bench, {"save": 5, "intake": 3, "web": 2, "cli": 1, "private": 2})
    facts = bench.facts()
    assert facts["acknowledged_readings"] > 10 and facts["acknowledged_images"] > 0
    assert facts["journal_entries_at_the_end"] > facts["acknowledged_readings"]


@pytest.mark.slow
def test_killed_copies_are_whole_or_not_there(bench: Bench) -> None:
    _killed(bench, {"backup": 2, "backup folder": 1, "restore": 2, "archive make": 1,
                    "archive read": 1})  # fmt: skip


@pytest.mark.slow
def test_a_killed_migration_leaves_the_old_tables_or_the_new(bench: Bench) -> None:
    _killed(bench, {"migration": 3})


def _killed(bench: Bench, wanted: dict[str, int]) -> None:
    bench.run(wanted)
    assert bench.found.none, bench.found.says
    assert dict(bench.kills) == wanted


@pytest.mark.slow
@pytest.mark.parametrize(
    ("planted", "kind", "counted"),
    [
        ("acknowledged before the commit", "save", "lost"),
        ("broken chain", "save", "broken_chains"),
        ("renamed before written", "intake", "half"),
        ("recorded before kept", "intake", "lost"),
        ("backup under its name", "backup", "half"),
    ],
)
def test_a_planted_fault_is_found(
    tmp_path: Path, nursery: Nursery, planted: str, kind: str, counted: str
) -> None:
    quiet = lambda text: None  # noqa: E731
    with Bench(tmp_path, 11, quiet, planted, nursery) as bench:
        for _ in range(120):
            bench.turn(kind)
            if getattr(bench.found, counted):
                return
    pytest.fail(f"{planted!r} was not found in {sum(bench.kills.values())} kills")


def test_the_figures_that_were_written_down_hold() -> None:
    said = json.loads(RESULTS.read_text())
    assert said["kills"] >= 500 and said["kills"] == sum(said["kills_by_kind"].values())
    assert said["kills"] == sum(said["kills_by_moment"].values())
    assert all(said["kills_by_kind"][kind] >= count for kind, count in run.WANTED.items())
    for name in ("lost", "broken_chains", "saved_twice", "half_files", "other_faults"):
        assert said[name] == 0, name
    assert said.get("processes_left", 0) == 0
    assert not any(sign in RESULTS.read_text() for sign in ("/", "\\"))


def test_two_processes_write_one_whole_chain(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    studio_with_item(folder).close()
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(folder), ITEM, name])
        for name in ("one", "two")
    ]
    assert [writer.wait(120) for writer in writers] == [0, 0]
    with Studio.open(folder) as studio:
        assert len(studio.state(ITEM).defects) == 40
    assert check(folder).ok
