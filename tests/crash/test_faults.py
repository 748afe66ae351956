"""The disk says no: at each write, sync, rename and folder of each durable writer, in each way.

Whatever fails: a sentence is told, nothing that was there is lost, nothing half stands under its
name, and the next try works without anything being cleared away by hand.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from crash.kill_points import Moments
from picture_files import picture_bytes
from quirewell.exchange.look_over import check_archive
from quirewell.exchange.make import Wish, make
from quirewell.exchange.read_back import read_archive
from quirewell.studio.archive import open_reader
from quirewell.studio.backup import backup, read_manifest, restore
from quirewell.studio.check import check
from quirewell.studio.database import copy_database
from quirewell.studio.durable import placed, write_whole
from quirewell.studio.faults import DiskFault, DiskFull, StudioError
from quirewell.studio.keys import write_private
from quirewell.studio.studio import Studio
from studio_help import studio_with_item

ERRORS = (errno.ENOSPC, errno.EIO, errno.EROFS, errno.EACCES)
POINTS = ("half a write", "before fsync", "after fsync", "before replace", "after replace",
          "before mkdir")  # fmt: skip


@dataclass
class House:
    """A small studio, a backup and an archive of it, and room beside them."""

    place: Path

    @property
    def studio(self) -> Path:
        return self.place / "studio"


def _build(place: Path) -> None:
    with studio_with_item(place / "studio") as studio:
        for seed in range(2):
            (place / "picture").write_bytes(picture_bytes(seed, (20, 30)))
            studio.blobs.put(place / "picture")
    backup(place / "studio", place / "kept.zip")
    make(place / "studio", place / "bag", Wish(tiles=False))
    (place / "private").mkdir()
    write_private(place / "private" / "old.json", b'"before"')
    (place / "new.png").write_bytes(picture_bytes(9, (20, 30)))


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("whole")
    _build(place)
    return place


# --- the durable writers: what is done, and what must hold whether it went well or not ----------


def _original(house: House) -> None:
    with Studio.open(house.studio) as studio:
        studio.blobs.put(house.place / "new.png")


def _private(house: House) -> None:
    write_private(house.place / "private" / "old.json", b'"after"' * 2000)


def _export(house: House) -> None:
    write_whole(house.place / "private" / "report.pdf", b"%PDF" * 9000)


def _folder(house: House) -> None:
    with placed(house.place / "share") as part:
        (part / "plates").mkdir(parents=True)
        (part / "plates" / "1.jpg").write_bytes(b"plate" * 99)
        (part / "index.html").write_bytes(b"page" * 99)


def _backup(house: House) -> None:
    backup(house.studio, house.place / "new.zip")


def _backup_folder(house: House) -> None:
    backup(house.studio, house.place / "new-backup")


def _restore(house: House) -> None:
    restore(house.place / "kept.zip", house.place / "restored")


def _make(house: House) -> None:
    make(house.studio, house.place / "new-bag", Wish(tiles=False))


def _read(house: House) -> None:
    read_archive(house.place / "bag", house.place / "read")


def _copy(house: House) -> None:
    with Studio.open(house.studio) as studio:
        copy_database(studio.engine, house.studio / "backups" / "before.db")


def _create(house: House) -> None:
    Studio.create(house.place / "second", "Second bench").close()


WRITERS: dict[str, Callable[[House], None]] = {
    "original": _original, "private": _private, "export": _export, "folder": _folder,
    "backup": _backup, "backup folder": _backup_folder, "restore": _restore, "archive": _make,
    "archive read": _read, "copy of the tables": _copy, "new studio": _create,
}  # fmt: skip


def _holds(house: House, done: bool) -> None:
    """Nothing lost, nothing half; after a try that went well, all there and nothing left over."""
    result = check(house.studio)
    assert result.ok, result.troubles
    place = house.place
    assert result.originals == 2 or ((place / "new.png").is_file() and result.originals == 3)
    assert (place / "private" / "old.json").read_bytes() in (b'"before"', b'"after"' * 2000)
    for name in ("restored", "read"):
        if (place / name).exists():
            assert check(place / name).ok
    if (place / "new.zip").exists():
        with open_reader(place / "new.zip") as opened:
            assert len(read_manifest(opened).files) == result.originals + 1
    if (place / "new-bag").exists():
        assert check_archive(place / "new-bag").ok
    if (place / "share").exists():
        assert (place / "share" / "index.html").read_bytes() == b"page" * 99
        assert (place / "share" / "plates" / "1.jpg").read_bytes() == b"plate" * 99
    if (pdf := place / "private" / "report.pdf").exists():
        assert pdf.read_bytes() == b"%PDF" * 9000
    if done:
        left = [path for path in place.rglob(".*") if path.name.endswith(".part")]
        assert not left, left


@pytest.mark.slow
@pytest.mark.parametrize("writer", WRITERS)
def test_each_fault_of_each_writer(whole: Path, tmp_path: Path, writer: str) -> None:
    counted = Moments()
    first = _fresh(whole, tmp_path / "counted")
    with counted.on_files():
        WRITERS[writer](first)
    _holds(first, done=True)
    tried = 0
    for number, (point, at) in enumerate(_points(counted)):
        code = ERRORS[number % len(ERRORS)]
        house = _fresh(whole, tmp_path / f"{number}")
        said = _failing(WRITERS[writer], house, point, at, code)
        _holds(house, done=False)
        if said is not None:
            assert isinstance(said, DiskFull if code == errno.ENOSPC else DiskFault), said
            _is_a_sentence(str(said))
        with suppress(_Stands):
            _again(WRITERS[writer], house)
        _holds(house, done=True)
        shutil.rmtree(house.place)
        tried += 1
    assert tried >= 5


class _Stands(Exception):
    """The first try had gone through after all: there is nothing to do again."""


def _again(write: Callable[[House], None], house: House) -> None:
    """The next try; it may find that the first came through whole before it was told of."""
    try:
        write(house)
    except StudioError as error:
        assert re.search("exists already|not empty|is a studio already", str(error)), error
        raise _Stands from error


def _fresh(whole: Path, place: Path) -> House:
    shutil.copytree(whole, place)
    return House(place)


def _points(counted: Moments) -> Iterator[tuple[str, int]]:
    """The first, the last and one between of each kind of moment."""
    for point in POINTS:
        count = counted.counts.get(point, 0)
        yield from ((point, at) for at in sorted({1, (count + 1) // 2, count} - {0}) if count)


def _failing(
    write: Callable[[House], None], house: House, point: str, at: int, code: int
) -> StudioError | None:
    def fail() -> None:
        raise OSError(code, os.strerror(code))

    try:
        with Moments(point, at, fail).on_files():
            write(house)
    except StudioError as error:
        return error
    return None


def _is_a_sentence(text: str) -> None:
    assert "nothing was half saved" in text and len(text) > 60, text
    assert "Traceback" not in text and "OSError" not in text
