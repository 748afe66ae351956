"""Backup while the studio is in use, and restore into an empty folder.

A backup holds a consistent copy of the database, every original, and ``manifest.json`` with
each file's SHA-256 and the journal's head. It is read back and compared before it gets its
name. What can be made again (``derived/``) stays out.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from quirewell.studio.archive import ArchiveError, Reader, Writer, open_reader, open_writer
from quirewell.studio.blobs import Blobs, sync_folder
from quirewell.studio.check import CheckResult, check
from quirewell.studio.clock import instant_text
from quirewell.studio.database import DATABASE, copy_database
from quirewell.studio.faults import StudioError, disk_full_said
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

    def as_json(self) -> dict[str, Any]:
        """Plain data for the file and for ``--json``."""
        said = asdict(self)
        return {"format": FORMAT, "format_version": FORMAT_VERSION, **said}

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
        for own in (studio.blobs.folder, studio.derived):
            if place.is_relative_to(own):
                raise StudioError(f"a backup cannot lie in {own}; put it elsewhere")
        part = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
        try:
            with disk_full_said(place.parent):
                manifest = _write(studio, part, place.suffix.lower() == ".zip", progress)
                _verify(part, manifest)
                part.replace(place)
                sync_folder(place.parent)
        finally:
            _remove(part)
    return manifest


def _write(studio: Studio, part: Path, zipped: bool, progress: OnProgress | None) -> Manifest:
    copy = studio.backups / f".copy-{secrets.token_hex(4)}.db"
    try:
        copy_database(studio.engine, copy)
        events, head = _head_in(copy)
        names = list(studio.blobs.all())
        with open_writer(part, zipped) as out:
            files = [_add(out, DATABASE, copy)]
            for done, name in enumerate(names, 1):
                kept = _add(out, f"originals/{name[:2]}/{name}", studio.blobs.path(name))
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
    finally:
        copy.unlink(missing_ok=True)


def _add(out: Writer, name: str, source: Path) -> Kept:
    sha256, size = out.add_file(name, source)
    return Kept(name, sha256, size)


def _head_in(database: Path) -> tuple[int, str]:
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


def read_manifest(archive: Reader) -> Manifest:
    """The manifest of a backup, checked for names that lead outside.

    Raises:
        StudioError: no backup of ours, or one that names files it may not.
    """
    try:
        said = json.loads(archive.read(MANIFEST, MAX_MANIFEST_BYTES))
        if said.pop("format") != FORMAT:
            raise KeyError("format")
        version = int(said.pop("format_version"))
        files = tuple(
            Kept(str(entry["path"]), str(entry["sha256"]), int(entry["bytes"]))
            for entry in said.pop("files")
        )
        manifest = Manifest(files=files, **said)
    except (ArchiveError, KeyError, TypeError, ValueError, AttributeError) as error:
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
    source, place = Path(archive).absolute(), Path(folder).absolute()
    if not source.exists():
        raise StudioError(f"there is no backup {source}")
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise StudioError(f"{place} is not empty; restore into a new folder, nothing was changed")
    place.parent.mkdir(parents=True, exist_ok=True)
    part = place.with_name(f".{place.name}.{secrets.token_hex(4)}.restoring")
    try:
        with disk_full_said(place.parent), open_reader(source) as opened:
            manifest = read_manifest(opened)
            _unpack(opened, manifest, part, progress)
            result = check(part, head=manifest.head)
            if not result.ok:
                raise StudioError(
                    f"the backup is damaged: {result.troubles[0].says}. Nothing was restored"
                )
            if place.exists():
                place.rmdir()
            part.replace(place)
            sync_folder(place.parent)
    except ArchiveError as error:
        raise StudioError(f"the backup is damaged: {error}. Nothing was restored") from error
    finally:
        _remove(part)
    return check_again(result, place)


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
    blobs = Blobs(part / "originals")
    for entry in _folders(blobs.folder):
        sync_folder(entry)


def _folders(folder: Path) -> Iterator[Path]:
    yield folder
    yield from (entry for entry in folder.iterdir() if entry.is_dir())


def _remove(part: Path) -> None:
    if part.is_dir():
        shutil.rmtree(part, ignore_errors=True)
    elif os.path.lexists(part):
        part.unlink()
