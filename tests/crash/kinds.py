"""The kinds of operation that are killed: what the child is given, and what must hold after."""

from __future__ import annotations

import random
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from crash import older_tables
from crash.children import End
from crash.keeping_count import Findings, whole_hashes
from picture_files import picture_bytes
from quirewell.exchange.look_over import check_archive
from quirewell.exchange.make import Wish, make
from quirewell.stages.overview import open_item
from quirewell.studio import backup as backups
from quirewell.studio.archive import open_reader
from quirewell.studio.check import check
from quirewell.studio.faults import StudioError
from quirewell.studio.keys import keys_folder
from quirewell.studio.studio import Studio
from studio_help import ITEM

PICTURES = 4
FRESH = 2


@dataclass(slots=True)
class Place:
    """Where the work lies, and the one source of chance."""

    place: Path
    folder: Path
    chance: random.Random
    number: int = 0
    told: dict[str, Any] = field(default_factory=dict)

    def next(self) -> int:
        """A number not used before."""
        self.number += 1
        return self.number


class Kind(Protocol):
    """One kind of operation. ``variant`` tells operations of different length apart."""

    operation: str
    variant: str

    def given(self) -> dict[str, Any]:
        """What the next child is given."""

    def after(self, end: End) -> Findings:
        """What was wrong after it."""


class Save:
    """Readings, steps and notes."""

    operation, variant = "save", ""

    def __init__(self, place: Place) -> None:
        self._place = place

    def given(self) -> dict[str, Any]:
        name = f"{self._place.next():x}"
        return {"studio": str(self._place.folder), "item": ITEM, "name": name, "count": 6}

    def after(self, end: End) -> Findings:
        return Findings()


class Intake:
    """A folder of pictures, some of them known to the studio, into an item of their own."""

    operation, variant = "intake", ""

    def __init__(self, place: Place) -> None:
        self._place = place
        self._folder = place.place / "sources"
        self._item, self._fresh = "", 0

    def given(self) -> dict[str, Any]:
        if self._item:  # killed last time: the same again goes on where it stopped
            return self._given()
        self._folder.mkdir()
        for count in range(PICTURES):
            fresh = count < FRESH or not self._fresh
            self._fresh += fresh
            seed = self._fresh if fresh else self._place.chance.randint(1, self._fresh)
            name = f"w0{count + 1}-outer-left-before.png"
            (self._folder / name).write_bytes(picture_bytes(seed, (40, 60)))
        number = self._place.next()
        self._item = f"annual-{number}"
        with Studio.open(self._place.folder) as studio:
            form = {"title": f"Copperbeck Garden Annual {number}", "year": "1936", "wraps": "9"}
            studio.append(self._item, 0, open_item(self._item, form))
        return self._given()

    def _given(self) -> dict[str, Any]:
        studio = str(self._place.folder)
        return {"studio": studio, "item": self._item, "folder": str(self._folder)}

    def after(self, end: End) -> Findings:
        found = Findings()
        if end.code == 0:
            with Studio.open(self._place.folder) as studio:
                held = len(studio.state(self._item).captures)
            same = len({path.read_bytes() for path in self._folder.iterdir()})
            if held != same:
                found.lost += same - held
                found.says.append(f"{self._item} has {held} pictures of {same} sent")
            shutil.rmtree(self._folder)
            self._item = ""
        return found


class Private:
    """A private file of the studio, written anew again and again."""

    operation, variant = "private", ""

    def __init__(self, place: Place) -> None:
        self._place, self._first = place, 1

    def given(self) -> dict[str, Any]:
        return {"studio": str(self._place.folder), "count": 12, "first": self._first}

    def after(self, end: End) -> Findings:
        found = Findings()
        place = keys_folder(self._place.folder) / "crash-test.json"
        data = place.read_bytes() if place.exists() else b""
        told = self._place.told.get("private", {"number": 0})["number"]
        if data and not (data.startswith(b'{"number": ') and data.endswith(b'x"}')):
            found.half, found.says = 1, ["the private file is half written"]
        number = int(data[11 : data.index(b",")]) if data and not found.half else 0
        if number < told:
            found.lost += 1
            found.says.append(f"the private file says {number}, {told} was acknowledged")
        self._first = max(number, told) + 1
        if end.code == 0:
            _cleared(found, place.parent, ".crash-test.json.*")
        return found


class WholeOrNothing:
    """What four kinds share: under its name a thing is whole or not there, and the next try
    under the same name needs no hand work."""

    operation, variant = "", ""
    suffix = ""

    def __init__(self, place: Place) -> None:
        self._place = place
        self.target = place.place / f"{self.operation}-target{self.suffix}"

    def given(self) -> dict[str, Any]:
        raise NotImplementedError

    def trouble(self) -> str:
        """What is wrong with the thing under its name; empty where it is whole."""
        raise NotImplementedError

    def after(self, end: End) -> Findings:
        found = Findings()
        if self.target.exists():
            if says := self.trouble():
                found.half, found.says = 1, [f"{self.operation}: {says}"]
            self.done()
        elif end.code == 0 or self._place.told.pop(self.operation, None):
            found.lost, found.says = 1, [f"{self.operation}: told as done and not there"]
        self._place.told.pop(self.operation, None)
        if end.code == 0:
            _cleared(found, self.target.parent, f".{self.target.name}.[0-9a-f]*")
        return found

    def done(self) -> None:
        """Make room for the next."""
        _remove(self.target)


class Backup(WholeOrNothing):
    """A backup of the studio in use, as a zip file."""

    operation, suffix = "backup", ".zip"

    def given(self) -> dict[str, Any]:
        return {"studio": str(self._place.folder), "target": str(self.target)}

    def trouble(self) -> str:
        try:
            with open_reader(self.target) as archive:
                manifest = backups.read_manifest(archive)
                for kept in manifest.files:
                    if archive.hash(kept.path, kept.bytes) != kept.sha256:
                        return f"{kept.path} is not what the manifest says"
        except (StudioError, ValueError, OSError) as error:
            return str(error)
        return ""

    def after(self, end: End) -> Findings:
        found = super().after(end)
        if end.code == 0:
            _cleared(found, self._place.folder / "backups", ".copy-*")
        return found


class FolderBackup(Backup):
    """The same as a folder."""

    suffix, variant = "", "folder"


class Restore(WholeOrNothing):
    """A backup restored into a folder that is not there."""

    operation = "restore"

    def __init__(self, place: Place) -> None:
        super().__init__(place)
        self._source = place.place / "to-restore.zip"
        self._head = ""

    def given(self) -> dict[str, Any]:
        if not self._head or self._place.chance.random() < 0.1:
            _remove(self._source)
            self._head = backups.backup(self._place.folder, self._source).head
        return {"archive": str(self._source), "folder": str(self.target)}

    def trouble(self) -> str:
        return _studio_trouble(self.target, self._head)


class MakeArchive(WholeOrNothing):
    """An archive of the studio, or of one item with its tiles."""

    operation = "make"

    def given(self) -> dict[str, Any]:
        whole = self._place.chance.random() < 0.7
        self.variant = "whole" if whole else "item"
        return {"studio": str(self._place.folder), "target": str(self.target),
                "item": "" if whole else ITEM, "tiles": not whole}  # fmt: skip

    def trouble(self) -> str:
        looked = check_archive(self.target)
        return "" if looked.ok else "; ".join(one.says for one in looked.troubles)


class ReadArchive(WholeOrNothing):
    """An archive of the whole studio read back into a folder that is not there."""

    operation = "read"

    def __init__(self, place: Place) -> None:
        super().__init__(place)
        self._source = place.place / "to-read"
        self._head = ""

    def given(self) -> dict[str, Any]:
        if not self._head or self._place.chance.random() < 0.1:
            _remove(self._source)
            self._head = make(self._place.folder, self._source, Wish(tiles=False)).head
        return {"archive": str(self._source), "folder": str(self.target)}

    def trouble(self) -> str:
        return _studio_trouble(self.target, self._head)


class Migration:
    """A copy of the studio with its first tables, opened by a later program."""

    operation, variant = "migrate", ""

    def __init__(self, place: Place) -> None:
        self._place = place
        self._folder = place.place / "older"
        self._versions = place.place / "later-versions"
        older_tables.write_later(self._versions)
        self._hashes: list[str] = []

    def given(self) -> dict[str, Any]:
        if not self._hashes:
            self._hashes = whole_hashes(self._place.folder)
            older_tables.freeze(self._place.folder, self._folder)
        return {"studio": str(self._folder), "versions": str(self._versions)}

    def after(self, end: End) -> Findings:
        found = Findings()
        with closing(sqlite3.connect(self._folder / "studio.db")) as connection:
            held = [row[0] for row in connection.execute("SELECT hash FROM journal ORDER BY seq")]
            revision = connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]
            whole = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        if held != self._hashes or not whole:
            found.lost, found.says = 1, ["a migration changed the journal"]
        told = self._place.told.pop("migrated", None)
        if revision not in ("0001", older_tables.LATER) or (told and revision == "0001"):
            found.other += 1
            found.says.append(f"a migration stopped at {revision}")
        for copy in (self._folder / "backups").glob("[!.]*.db"):
            if not _whole_database(copy, len(self._hashes)):
                found.half += 1
                found.says.append(f"{copy.name}, the copy before a migration, is not whole")
        if end.code == 0:
            shutil.rmtree(self._folder)
            self._hashes = []
        return found


KINDS = {
    "save": Save, "intake": Intake, "private": Private, "backup": Backup,
    "backup folder": FolderBackup, "restore": Restore, "archive make": MakeArchive,
    "archive read": ReadArchive, "migration": Migration,
}  # fmt: skip


def _whole_database(path: Path, entries: int) -> bool:
    try:
        with closing(sqlite3.connect(path)) as connection:
            whole = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            count = connection.execute("SELECT count(*) FROM journal").fetchone()[0]
    except sqlite3.DatabaseError:
        return False
    return bool(whole and count == entries)


def _studio_trouble(folder: Path, head: str) -> str:
    try:
        result = check(folder, head=head)
    except StudioError as error:
        return str(error)
    if not result.ok:
        return result.troubles[0].says
    return "" if result.head == head else "it ends at another entry"


def _cleared(found: Findings, folder: Path, pattern: str) -> None:
    """After a try that worked nothing of earlier tries may lie about."""
    left = sorted(path.name for path in folder.glob(pattern))
    found.other += len(left)
    found.says += [f"left behind by a killed try: {name}" for name in left]


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
