"""Disks as they are: too small, read-only, belonging to somebody else.

The small and the read-only disk are real file systems that the test mounts, which takes root; the
folder that may not be written to is tried in a child that has given up root's rights to files.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from picture_files import picture_bytes
from quirewell.exchange.make import Wish, make
from quirewell.studio.backup import backup, restore
from quirewell.studio.check import check
from quirewell.studio.durable import write_whole
from quirewell.studio.faults import DiskFault, DiskFull, StudioError
from quirewell.studio.keys import write_private
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

NOBODY = 65534
SRC = Path(sys.modules["quirewell"].__file__ or "").parents[1]
CHILD = """
import json, os, sys
from pathlib import Path
from quirewell.exchange.make import make
from quirewell.studio.backup import backup, restore
from quirewell.studio.durable import write_whole
from quirewell.studio.keys import write_private
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect

def save(path):
    with Studio.open(path) as studio:
        studio.append(ITEM, None, [defect("d-nobody")])

def put(path):
    with Studio.open(path) as studio:
        studio.blobs.put(Path(path).parent / "new.png")

does = {"save": save, "put": put,
        "create": lambda path: Studio.create(Path(path).parent / "second"),
        "backup": lambda path: backup(path, Path(path).parent / "new.zip"),
        "restore": lambda path: restore(Path(path).parent / "kept.zip",
                                        Path(path).parent / "back"),
        "archive": lambda path: make(path, Path(path).parent / "bag"),
        "private": lambda path: write_private(Path(path) / "settings.json", b"x"),
        "export": lambda path: write_whole(Path(path).parent / "x.pdf", b"x")}
told = {}
for name in sys.argv[2:]:
    try:
        does[name](sys.argv[1])
        told[name] = ["done", ""]
    except Exception as error:
        told[name] = [type(error).__name__, str(error)]
print(json.dumps(told))
"""


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A disk of two and a half megabytes."""
    yield from _mounted(tmp_path / "small", "-t", "tmpfs", "-o", "size=2500k", "none")


def _mounted(place: Path, *words: str) -> Iterator[Path]:
    if os.geteuid() != 0:
        pytest.skip("mounting a file system takes root")
    place.mkdir()
    done = subprocess.run(["mount", *words, str(place)], capture_output=True, check=False)
    if done.returncode:
        pytest.skip(f"this machine does not let a test mount: {done.stderr.decode().strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def _fill(place: Path, leave: int = 0) -> Path:
    """Use up all the room but ``leave`` bytes."""
    ballast = place / "ballast"
    room = os.statvfs(place)
    with ballast.open("wb") as out:
        out.write(b"\0" * max(0, room.f_bavail * room.f_frsize - leave))
    return ballast


def _hashes(folder: Path) -> list[str]:
    with Studio.open(folder) as studio:
        return [event.hash for event in studio.events()]


@pytest.mark.parametrize("leave", [0, 20_000, 60_000])
def test_a_full_disk_stops_each_in_a_sentence_and_room_lets_all_go_on(
    small: Path, tmp_path: Path, leave: int
) -> None:
    folder = small / "studio"
    studio_with_item(folder).close()
    backup(folder, tmp_path / "kept.zip")
    picture = tmp_path / "new.png"
    picture.write_bytes(picture_bytes(3, (200, 300)))
    acknowledged: list[str] = []
    with Studio.open(folder) as studio:
        ballast = _fill(small, leave)
        with pytest.raises(DiskFull, match="is full"):
            for number in range(400):
                made = studio.append(ITEM, None, [defect(f"d{number}")])
                acknowledged.append(made[0].hash)
        with pytest.raises(DiskFull, match="is full"):
            studio.blobs.put(picture)
        for write in (
            lambda: write_private(folder / "settings.json", b"x" * 90_000),
            lambda: write_whole(small / "report.pdf", b"x" * 90_000),
            lambda: backup(folder, small / "new.zip"),
            lambda: make(folder, small / "bag", Wish(tiles=False)),
            lambda: restore(tmp_path / "kept.zip", small / "back"),
            lambda: Studio.create(small / "second"),
        ):
            with pytest.raises(StudioError, match="is full"):
                write()
        ballast.unlink()
        studio.append(ITEM, None, [defect("d-after")])
        studio.blobs.put(picture)
    assert set(acknowledged) <= set(_hashes(folder))
    assert check(folder).ok
    names = {path.name for path in small.iterdir()}
    assert names <= {"studio", "second"}, names
    backup(folder, small / "new.zip")
    restore(small / "new.zip", small / "back")


def test_a_read_only_disk_is_told_and_keeps_what_it_has(tmp_path: Path) -> None:
    studio_with_item(tmp_path / "writable" / "studio").close()
    backup(tmp_path / "writable" / "studio", tmp_path / "kept.zip")
    before = _hashes(tmp_path / "writable" / "studio")
    mounted = _mounted(tmp_path / "fixed", "--bind", str(tmp_path / "writable"))
    place = next(mounted)
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", str(place)], check=True)
        for write in (
            lambda: _append(place / "studio"),
            lambda: write_private(place / "studio" / "settings.json", b"x"),
            lambda: write_whole(place / "report.pdf", b"x"),
            lambda: restore(tmp_path / "kept.zip", place / "back"),
            lambda: make(tmp_path / "writable" / "studio", place / "bag", Wish(tiles=False)),
            lambda: backup(tmp_path / "writable" / "studio", place / "new.zip"),
            lambda: Studio.create(place / "second"),
        ):
            with pytest.raises(DiskFault, match="can only be read") as told:
                write()
            assert "nothing was half saved" in str(told.value)
    finally:
        mounted.close()
    assert _hashes(tmp_path / "writable" / "studio") == before
    assert {path.name for path in (tmp_path / "writable").iterdir()} == {"studio"}


def _append(folder: Path) -> None:
    with Studio.open(folder) as studio:
        studio.append(ITEM, None, [defect("d-new")])


def _without_power(place: Path, *does: str) -> dict[str, Any]:
    """What a child said that has no more rights to files than anybody."""
    if os.geteuid() != 0 or not shutil.which("setpriv"):
        pytest.skip("giving up the rights of root takes root and setpriv")
    tests = Path(__file__).parents[1]
    power = "-dac_override,-dac_read_search,-fowner,-chown"
    done = subprocess.run(
        ["setpriv", f"--bounding-set={power}", sys.executable, "-c", CHILD, str(place / "studio"),
         *does], capture_output=True, text=True, check=False, timeout=120,
        env={**os.environ, "PYTHONPATH": f"{SRC}{os.pathsep}{tests}"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_what_belongs_to_somebody_else_is_told_and_stays(tmp_path: Path) -> None:
    place = tmp_path / "theirs"
    studio_with_item(place / "studio").close()
    backup(place / "studio", place / "kept.zip")
    (place / "new.png").write_bytes(picture_bytes(3))
    before = _hashes(place / "studio")
    if os.geteuid() == 0:
        for path in (place, *place.rglob("*")):
            os.chown(path, NOBODY, NOBODY)
    does = ("save", "put", "create", "restore", "private", "export", "backup", "archive")
    told = _without_power(place, *does)
    for name, (kind, says) in told.items():
        assert kind == "DiskFault", (name, kind, says)
        assert "may not be written to by you" in says and "nothing was half saved" in says
    assert _hashes(place / "studio") == before
    assert {path.name for path in place.iterdir()} == {"studio", "kept.zip", "new.png"}


def test_a_right_that_is_lost_and_given_back_costs_nothing(tmp_path: Path) -> None:
    studio_with_item(tmp_path / "studio").close()
    (tmp_path / "new.png").write_bytes(picture_bytes(3))
    originals = tmp_path / "studio" / "originals"
    (originals / ".incoming").mkdir(exist_ok=True)
    for path in (originals, originals / ".incoming"):
        path.chmod(0o555)
    told = _without_power(tmp_path, "put", "save")
    assert told["put"][0] == "DiskFault" and told["save"][0] == "done", told
    for path in (originals, originals / ".incoming"):
        path.chmod(0o755)
    assert _without_power(tmp_path, "put")["put"][0] == "done"
    assert check(tmp_path / "studio").ok
