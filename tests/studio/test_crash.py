"""Killed at any moment, an import loses nothing and half-saves nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from picture_files import write_pictures
from quirewell.stages.taking_in import folder_sources, take_in
from quirewell.studio.check import check
from quirewell.studio.studio import Studio
from studio_help import ITEM, studio_with_item

KILLS = 10
NAMES = [f"w0{n}-{side}-left-before.png" for n in range(1, 6) for side in ("outer", "inner")]
# The child dies by SIGKILL inside its n-th system call of one kind: between any two steps of
# copying, syncing, renaming and writing the journal.
CHILD = """
import os, signal, sys
from pathlib import Path
from quirewell.stages.taking_in import folder_sources, take_in
from quirewell.studio.studio import Studio

count = int(sys.argv[3])

def dying(real):
    def call(*arguments, **named):
        global count
        count -= 1
        if count == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*arguments, **named)
    return call

os.fsync = dying(os.fsync)
Path.replace = dying(Path.replace)
real_append = Studio.append
Studio.append = dying(real_append)

def told(done, total, arrival):
    print(arrival.sha256, flush=True)

with Studio.open(sys.argv[1]) as studio:
    take_in(studio, sys.argv[4], folder_sources(Path(sys.argv[2])), progress=told)
print("finished", flush=True)
"""


def _import_until_killed(studio: Path, scans: Path, after: int) -> tuple[int, list[str]]:
    command = [sys.executable, "-c", CHILD, str(studio), str(scans), str(after), ITEM]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode in (0, -9), done.stderr
    return done.returncode, done.stdout.split()


@pytest.mark.slow
def test_killed_imports_lose_nothing_and_the_next_one_finishes(tmp_path: Path) -> None:
    folder = tmp_path / "studio"
    studio_with_item(folder).close()
    scans = write_pictures(tmp_path / "scans", NAMES)
    acknowledged: set[str] = set()
    kills = 0
    for attempt in range(KILLS):
        code, told = _import_until_killed(folder, scans, 2 + attempt * 5 % 9)
        acknowledged.update(word for word in told if word != "finished")
        kills += code == -9
        result = check(folder)
        assert result.ok, result.troubles
        with Studio.open(folder) as studio:
            held = {capture.sha256 for capture in studio.state(ITEM).captures.values()}
            assert acknowledged <= held
            assert not studio.blobs.unfinished()
    assert kills >= 5
    with Studio.open(folder) as studio:
        take_in(studio, ITEM, folder_sources(scans))
        captures = studio.state(ITEM).captures
        assert sorted(entry.filename for entry in captures.values()) == sorted(NAMES)
        assert all(entry.place for entry in captures.values())
    assert check(folder).ok


WRITER = """
import sys
from quirewell.record.event import Draft
from quirewell.studio.studio import Studio
with Studio.open(sys.argv[1]) as studio:
    for number in range(20):
        body = {"id": f"{sys.argv[3]}-{number}", "place": "w01", "term": "fold"}
        studio.append(sys.argv[2], None, [Draft(sys.argv[2], "defect.noted", body)])
"""


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
