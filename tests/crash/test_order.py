"""What cannot be tried here is a power cut; what can be held is the order of the calls.

For each durable writer: written, synced, renamed, the folder synced, and only then is anything
said or put into the journal. Each call is recorded with the file it was about.
"""

from __future__ import annotations

import os
import pathlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.engine.default import DefaultDialect

from picture_files import write_pictures
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.stages.taking_in import folder_sources, take_in
from quirewell.studio.backup import backup, restore
from quirewell.studio.database import copy_database, reading
from quirewell.studio.durable import write_whole
from quirewell.studio.keys import write_private
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

Call = tuple[str, str]


@contextmanager
def recorded() -> Iterator[list[Call]]:
    """Calls as (what, path), the path being that at the time of the call."""
    calls: list[Call] = []
    fsync, replace, mkdir, opened = os.fsync, os.replace, os.mkdir, pathlib.Path.open
    fdopen, commit = os.fdopen, DefaultDialect.do_commit

    def path_of(handle: int) -> str:
        return str(Path(f"/proc/self/fd/{handle}").readlink())

    def on_fsync(handle: int) -> None:
        kind = "sync folder" if Path(path_of(handle)).is_dir() else "sync"
        fsync(handle)
        calls.append((kind, path_of(handle)))

    def on_replace(source: Any, target: Any, **named: Any) -> None:
        replace(source, target, **named)
        calls.append(("rename", f"{os.fspath(source)} > {os.fspath(target)}"))

    def on_mkdir(path: Any, *more: Any, **named: Any) -> None:
        mkdir(path, *more, **named)
        calls.append(("mkdir", os.fspath(path)))

    def on_open(path: Path, mode: str = "r", *more: Any, **named: Any) -> Any:
        if set(mode) & set("wxa"):
            calls.append(("write", os.fspath(path)))
        return opened(path, mode, *more, **named)

    def on_fdopen(handle: int, *more: Any, **named: Any) -> Any:
        calls.append(("write", path_of(handle)))
        return fdopen(handle, *more, **named)

    def on_commit(dialect: Any, connection: Any) -> None:
        commit(dialect, connection)
        calls.append(("commit", ""))

    try:
        os.fsync, os.replace, os.mkdir, os.fdopen = on_fsync, on_replace, on_mkdir, on_fdopen
        pathlib.Path.open = on_open  # type: ignore[method-assign,assignment]
        DefaultDialect.do_commit = on_commit  # type: ignore[method-assign]
        yield calls
    finally:
        os.fsync, os.replace, os.mkdir, os.fdopen = fsync, replace, mkdir, fdopen
        pathlib.Path.open = opened  # type: ignore[method-assign]
        DefaultDialect.do_commit = commit  # type: ignore[method-assign]


def faults_in(calls: list[Call], name: str) -> list[str]:
    """What is out of order with what gets the name ``name`` by a rename, in sentences."""
    renames = [at for at, (what, path) in enumerate(calls)
               if what == "rename" and path.endswith(f" > {name}")]  # fmt: skip
    if len(renames) != 1:
        return [f"{len(renames)} renames to {name}"]
    at = renames[0]
    part = calls[at][1].split(" > ")[0]
    said = []
    within = [
        path for what, path in calls[:at]
        if what == "write" and (path == part or path.startswith(f"{part}/"))
    ]  # fmt: skip
    if not within:
        said.append(f"nothing of {name} is written before it gets its name")
    for path in within:
        if not _after(calls[:at], ("write", path), ("sync", _later_name(calls, at, path))):
            said.append(f"{path} is renamed before it is synced")
    for what, path in calls[:at]:
        inside = path == part or path.startswith(f"{part}/")
        if what == "mkdir" and inside and ("sync folder", path) not in calls[:at]:
            said.append(f"the folder {path} is not synced before the rename")
    if ("sync folder", str(Path(name).parent)) not in calls[at:]:
        said.append(f"the folder of {name} is not synced after the rename")
    return said


def _later_name(calls: list[Call], until: int, path: str) -> str:
    """The name a file has later, after renames within its part."""
    for what, text in calls[:until]:
        if what == "rename" and text.startswith(f"{path} > "):
            path = text.split(" > ")[1]
    return path


def _after(calls: list[Call], first: Call, second: Call) -> bool:
    last = max(at for at, call in enumerate(calls) if call == first)
    return second in calls[last:]


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    folder = tmp_path / "studio"
    with studio_with_item(folder) as opened:
        scans = write_pictures(tmp_path / "scans", ["w01-outer-left-before.png"])
        take_in(opened, ITEM, folder_sources(scans))
    return folder


def test_an_original_is_synced_named_and_its_folders_synced_before_the_journal_speaks_of_it(
    tmp_path: Path, studio: Path
) -> None:
    scans = write_pictures(tmp_path / "more", ["a.png", "w02-outer-left-before.png"])
    with Studio.open(studio) as opened, recorded() as calls:
        take_in(opened, ITEM, folder_sources(scans))
        names = [one.sha256 for one in opened.state(ITEM).captures.values()]
    renamed = [path.split(" > ")[1] for what, path in calls
               if what == "rename" and Path(path).name in names]  # fmt: skip
    assert renamed
    for place in renamed:
        assert not faults_in(calls, place)
        at = [path.endswith(f" > {place}") for _, path in calls].index(True)
        after = calls[at + 1 :]
        first_commit = after.index(("commit", ""))
        assert ("sync folder", str(Path(place).parent)) in after[:first_commit]
        assert ("sync folder", str(studio / "originals")) in after[:first_commit]


def test_an_original_that_is_here_already_is_made_sure_of_all_the_same(
    tmp_path: Path, studio: Path
) -> None:
    with Studio.open(studio) as opened, recorded() as calls:
        sha256 = next(iter(opened.state(ITEM).captures.values())).sha256
        opened.blobs.put(studio / "originals" / sha256[:2] / sha256)
    assert ("sync folder", str(studio / "originals" / sha256[:2])) in calls
    assert ("sync folder", str(studio / "originals")) in calls


def _kept(tmp_path: Path, studio: Path) -> Path:
    backup(studio, tmp_path / "kept.zip")
    return tmp_path / "kept.zip"


WRITERS: dict[str, Callable[[Path, Path, Path], object]] = {
    "private": lambda target, studio, beside: write_private(target, b"x" * 9000),
    "export": lambda target, studio, beside: write_whole(target, b"x" * 9000),
    "backup.zip": lambda target, studio, beside: backup(studio, target),
    "backup": lambda target, studio, beside: backup(studio, target),
    "restored": lambda target, studio, beside: restore(beside / "kept.zip", target),
    "archive": lambda target, studio, beside: make(studio, target, Wish(tiles=False)),
    "archive.zip": lambda target, studio, beside: make(studio, target, Wish(tiles=False)),
    "read": lambda target, studio, beside: read_archive(beside / "bag", target),
}


@pytest.mark.parametrize("name", WRITERS)
def test_each_durable_writer_keeps_the_order(tmp_path: Path, studio: Path, name: str) -> None:
    backup(studio, tmp_path / "kept.zip")
    make(studio, tmp_path / "bag", Wish(tiles=False))
    target = tmp_path / name
    with recorded() as calls:
        WRITERS[name](target, studio, tmp_path)
    assert not faults_in(calls, str(target))
    assert any(what == "write" for what, _ in calls)


def test_the_copy_before_a_migration_is_synced_before_its_name(studio: Path) -> None:
    target = studio / "backups" / "before-tables.db"
    with Studio.open(studio) as opened, recorded() as calls:
        copy_database(opened.engine, target)
    # SQLite writes and syncs the part by itself; it is synced once more before it is renamed.
    part = next(path for what, path in calls if what == "rename").split(" > ")[0]
    at = calls.index(("rename", f"{part} > {target}"))
    assert ("sync", part) in calls[:at]
    assert ("sync folder", str(target.parent)) in calls[at:]


def test_saving_is_told_after_the_commit_only(studio: Path) -> None:
    with Studio.open(studio) as opened, recorded() as calls:
        opened.append(ITEM, None, [defect("d-order")])
        calls.append(("told", ""))
    assert [what for what, _ in calls if what in ("commit", "told")][-2:] == ["commit", "told"]


def test_sqlite_syncs_at_every_commit(studio: Path) -> None:
    with Studio.open(studio) as opened, reading(opened.engine) as connection:
        full = connection.exec_driver_sql("PRAGMA synchronous").scalar()
        assert full == 2, "2 is FULL: the log is synced at each commit (SQLite's documentation)"
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"


@pytest.mark.parametrize("wrong", ["rename", "sync", "sync folder"])
def test_the_recorder_finds_a_wrong_order(tmp_path: Path, wrong: str) -> None:
    target = str(tmp_path / "x")
    right = [("write", f"{target}.part"), ("sync", f"{target}.part"),
             ("rename", f"{target}.part > {target}"), ("sync folder", str(tmp_path))]  # fmt: skip
    assert not faults_in(right, target)
    moved = [call for call in right if call[0] != wrong]
    assert faults_in(moved, target)
    early = [call for call in right if call[0] == wrong] + moved
    assert faults_in(early, target)
