"""Backup while the studio is in use, and restore into an empty folder.

A backup holds a consistent copy of the database, every original, and ``manifest.json`` with
each file's SHA-256 and the journal's head. It is read back and compared before it gets its
name. What can be made again (``derived/``) stays out.
"""

from __future__ import annotations

import contextlib
import json
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy.exc import DatabaseError

from quirewell.record.apply import RecordError
from quirewell.record.plain_data import json_data
from quirewell.studio.archive import ArchiveError, Reader, Writer, open_reader, open_writer
from quirewell.studio.check import CheckResult, check
from quirewell.studio.clock import instant_text
from quirewell.studio.database import DATABASE, copy_database, refuse_network
from quirewell.studio.durable import placed, scratch
from quirewell.studio.faults import StudioError
from quirewell.studio.own_settings import last_kept, remember_kept
from quirewell.studio.studio import Studio

MANIFEST = "manifest.json"
FORMAT = "quirewell-backup"
FORMAT_VERSION = 1
MAX_MANIFEST_BYTES = 64 << 20
_ORIGINAL = re.compile(r"originals/([0-9a-f]{2})/([0-9a-f]{64})")
OnProgress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Kept:
    """One file of a backup."""

    path: str
    sha256: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself."""

    name: str
    made_at: str
    events: int
    head: str
    chain_version: int
    files: tuple[Kept, ...]
    # Originals that were damaged or gone when it was made, so that it could not hold them.
    left_out: tuple[str, ...] = ()

    def as_json(self, kind: str = FORMAT) -> dict[str, Any]:
        """Plain data for the file and for ``--json``."""
        said = asdict(self)
        if not self.left_out:
            del said["left_out"]
        return {"format": kind, "format_version": FORMAT_VERSION, **said}

    @property
    def bytes(self) -> int:
        """Size of all files [bytes]."""
        return sum(entry.bytes for entry in self.files)


def backup(folder: Path | str, target: Path | str, progress: OnProgress | None = None) -> Manifest:
    """Write a backup to ``target`` (a ``.zip`` or a new folder), verified before it is named.

    Raises:
        StudioError: the target exists, lies among the originals, or the copy does not verify.
        DiskFull: no room; no half backup is left.
    """
    place = Path(target).absolute()
    if place.exists():
        raise StudioError(f"{place} exists already; a backup never overwrites, choose a new name")
    if not place.parent.is_dir():
        raise StudioError(f"there is no folder {place.parent} to put the backup in")
    with Studio.open(folder) as studio:
        for own in (studio.folder / "originals", studio.derived):
            if place.is_relative_to(own):
                raise StudioError(f"a backup cannot lie in {own}; put it elsewhere")
        with placed(place) as part:
            manifest = _write(studio, part, place.suffix.lower() == ".zip", progress)
            _verify(part, manifest)
        with contextlib.suppress(StudioError):  # it is made, whether or not it is remembered here
            kept = replace(last_kept(studio.folder), by_hand_at=manifest.made_at)
            remember_kept(studio.folder, kept)
    return manifest


def _write(studio: Studio, part: Path, zipped: bool, progress: OnProgress | None) -> Manifest:
    with scratch(studio.backups / "copy") as rough:
        copy = rough / DATABASE
        copy_database(studio.engine, copy)
        events, head = head_in(copy)
        names = list(studio.blobs.all())
        with open_writer(part, zipped) as out:
            files = [_add(out, DATABASE, copy)]
            for done, name in enumerate(names, 1):
                with studio.blobs.held(name) as original:
                    kept = _add(out, f"originals/{name[:2]}/{name}", original)
                if kept.sha256 != name:
                    raise StudioError(
                        f"the original {name[:12]}… is no longer the file that was taken in; no "
                        "backup was made. Restore that file from an older backup, then run: "
                        "quirewell studio check"
                    )
                files.append(kept)
                if progress is not None:
                    progress(done, len(names))
            settings = studio.settings
            manifest = Manifest(
                settings.name, instant_text(studio.clock()), events, head,
                settings.chain_version, tuple(files),
            )  # fmt: skip
            out.add_bytes(MANIFEST, json.dumps(manifest.as_json(), indent=1).encode())
        return manifest


def _add(out: Writer, name: str, source: Path) -> Kept:
    sha256, size = out.add_file(name, source)
    return Kept(name, sha256, size)


def head_in(database: Path) -> tuple[int, str]:
    """(number, hash) of the last journal entry in a copy of the database."""
    with closing(sqlite3.connect(database)) as connection:
        row = connection.execute("SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1")
        seq, head = row.fetchone()
    return int(seq), str(head)


def _verify(part: Path, manifest: Manifest) -> None:
    with open_reader(part) as archive:
        if read_manifest(archive) != manifest:
            raise StudioError("the backup does not read back as it was written; it was thrown away")
        for kept in manifest.files:
            if archive.hash(kept.path, kept.bytes) != kept.sha256:
                raise StudioError(
                    f"{kept.path} does not read back as it was written; the backup was thrown "
                    "away. Try another disk"
                )


def read_manifest(archive: Reader, kind: str = FORMAT) -> Manifest:
    """The manifest of a backup, checked for names that lead outside.

    Raises:
        StudioError: no backup of ours, or one that names files it may not.
    """
    try:
        said = json_data(archive.read(MANIFEST, MAX_MANIFEST_BYTES))
        if said.pop("format") != kind:
            raise KeyError("format")
        version = int(said.pop("format_version"))
        files = tuple(
            Kept(str(entry["path"]), str(entry["sha256"]), int(entry["bytes"]))
            for entry in said.pop("files")
        )
        left_out = tuple(map(str, said.pop("left_out", ())))
        manifest = Manifest(files=files, left_out=left_out, **said)
    except (
        ArchiveError, KeyError, TypeError, ValueError, AttributeError, OverflowError,
    ) as error:  # fmt: skip
        raise StudioError(
            f"{archive.path} is no backup of a studio (its {MANIFEST} is missing or unreadable)"
        ) from error
    if version > FORMAT_VERSION:
        raise StudioError(f"{archive.path} was written by a newer quirewell; install that one")
    names = [entry.path for entry in files]
    for name in names:
        if name != DATABASE and not _is_original(name):
            raise StudioError(f"the backup names {name!r}, which no studio holds; not restored")
    if names.count(DATABASE) != 1 or len(set(names)) != len(names):
        raise StudioError("the backup's manifest names a file twice, or no database; not restored")
    return manifest


def _is_original(name: str) -> bool:
    match = _ORIGINAL.fullmatch(name)
    return match is not None and match[2].startswith(match[1])


def restore(
    archive: Path | str, folder: Path | str, progress: OnProgress | None = None
) -> CheckResult:
    """Put a backup into a new or empty folder and check it whole; all of it or nothing.

    Raises:
        StudioError: the folder holds something, the backup is damaged or not ours.
        DiskFull: no room; nothing is left behind.
    """
    source = Path(archive).absolute()
    if not source.exists():
        raise StudioError(f"there is no backup {source}")
    try:
        with open_reader(source) as opened:
            return put_back(opened, read_manifest(opened), Path(folder).absolute(), progress)
    except ArchiveError as error:
        raise StudioError(f"the backup is damaged: {error}. Nothing was restored") from error


def put_back(
    opened: Reader, manifest: Manifest, place: Path, progress: OnProgress | None = None
) -> CheckResult:
    """Unpack what a manifest names into a new folder and check it whole; all of it or nothing.

    Raises:
        StudioError: the folder holds something, or what was unpacked is damaged.
        DiskFull: no room; nothing is left behind.
    """
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise StudioError(f"{place} is not empty; restore into a new folder, nothing was changed")
    refuse_network(place)
    place.parent.mkdir(parents=True, exist_ok=True)
    try:
        with placed(place) as part:
            _unpack(opened, manifest, part, progress)
            _settle_tables(part)
            result = check(part, head=manifest.head, left_out=frozenset(manifest.left_out))
            if not result.ok:
                raise StudioError(
                    f"the backup is damaged: {result.troubles[0].says}. Nothing was restored"
                )
    except ArchiveError as error:
        raise StudioError(f"the backup is damaged: {error}. Nothing was restored") from error
    return check_again(result, place)


def _settle_tables(part: Path) -> None:
    """Make the tables anew where they differ from the journal: that alone is the truth."""
    with contextlib.suppress(DatabaseError, RecordError), Studio.open(part) as opened:
        if not opened.connection_check()[1] and opened.rebuild_differs():
            opened.rebuild()


def check_again(result: CheckResult, place: Path) -> CheckResult:
    """The result under the folder's final name."""
    said = {name: getattr(result, name) for name in CheckResult.__slots__}
    return CheckResult(**{**said, "folder": str(place)})


def _unpack(archive: Reader, manifest: Manifest, part: Path, progress: OnProgress | None) -> None:
    for folder in ("originals", "derived", "backups"):
        (part / folder).mkdir(parents=True)
    for done, kept in enumerate(manifest.files, 1):
        target = part / kept.path
        if not target.resolve().is_relative_to(part.resolve()):
            raise StudioError(f"the backup names {kept.path!r}, which leads outside; not restored")
        target.parent.mkdir(exist_ok=True)
        sha256, size = archive.extract(kept.path, target, kept.bytes)
        if (sha256, size) != (kept.sha256, kept.bytes):
            raise StudioError(
                f"the backup is damaged: {kept.path} was altered. Nothing was restored"
            )
        if kept.path != DATABASE:
            target.chmod(0o444)
        if progress is not None:
            progress(done, len(manifest.files))
