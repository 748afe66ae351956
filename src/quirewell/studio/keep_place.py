"""The place where backups are kept by themselves: one pool of originals, one small folder a backup.

    PLACE/quirewell-backups.json        the mark: whose backups these are
    PLACE/README.txt                    how to read them without this program
    PLACE/originals/ab/<sha256>         every original once, whatever the number of backups
    PLACE/backups/<day-time>/studio.db      a copy of the database
    PLACE/backups/<day-time>/manifest.json  its hash, the journal's head, the originals it names
    PLACE/read-again.json               what lies in the pool, and when each was last read again

Everything is written under a hidden name that ends in ``.part``, synced, and renamed: what bears
its name is whole. The mark is looked for each time, so that nothing is ever written into the empty
folder that is left when a disk is not plugged in.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quirewell.studio.archive import Reader
from quirewell.studio.backup import MANIFEST, Manifest, read_manifest
from quirewell.studio.blobs import is_sha256, sync_folder
from quirewell.studio.database import DATABASE
from quirewell.studio.faults import StudioError, is_disk_full
from quirewell.studio.keep_readme import README

MARK, READ_AGAIN, BACKUPS, POOL = (
    "quirewell-backups.json",
    "read-again.json",
    "backups",
    "originals",
)
FORMAT, FORMAT_VERSION = "quirewell-backup-place", 1
SNAPSHOT_FORMAT = "quirewell-snapshot"
_DAY_TIME = r"\d{4}-\d\d-\d\d-\d{6}Z(?:-\d{1,4})?"
NAME = re.compile(_DAY_TIME)
_OURS = (MARK, READ_AGAIN, MANIFEST, DATABASE, "README.txt")
_PART = re.compile(
    rf"\.(?:{'|'.join(map(re.escape, _OURS))}|{_DAY_TIME}|[0-9a-f]{{64}})\.[0-9a-f]{{8}}\.part"
)


class PlaceMissing(StudioError):
    """The place is not there now: a disk that is not plugged in, a share that is not reached."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One backup in the place: its name and what its manifest says."""

    name: str
    manifest: Manifest

    @property
    def originals(self) -> dict[str, int]:
        """Hash of each original it names, with its size [bytes]."""
        return {kept.sha256: kept.bytes for kept in self.manifest.files if kept.path != DATABASE}

    @property
    def own_bytes(self) -> int:
        """Size of its copy of the database [bytes]; the originals are shared."""
        return sum(kept.bytes for kept in self.manifest.files if kept.path == DATABASE)


@dataclass(frozen=True, slots=True)
class Place:
    """A folder that bears our mark."""

    folder: Path
    id: str
    studio: str
    name: str

    @property
    def backups(self) -> Path:
        """The folder of the dated backups."""
        return self.folder / BACKUPS

    def pooled(self, sha256: str) -> Path:
        """Where an original lies in the pool, there or not."""
        if not is_sha256(sha256):
            raise StudioError(f"{sha256!r} is not the name of an original")
        return self.folder / POOL / sha256[:2] / sha256


def found_place(folder: Path) -> Place:
    """The place in ``folder``, by its mark.

    Raises:
        PlaceMissing: no mark there.
        StudioError: a mark that cannot be read, or of a newer program.
    """
    try:
        said = json.loads((folder / MARK).read_bytes())
        version = int(said["format_version"])
        if said["format"] != FORMAT:
            raise ValueError("format")
        place = Place(folder, str(said["id"]), str(said["studio"]), str(said["name"]))
    except (FileNotFoundError, NotADirectoryError) as error:
        raise PlaceMissing(
            f"the backups' place {folder} is not there: the file {MARK} was not found in it. Plug "
            "the disk in (or connect the share); nothing was written"
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise StudioError(
            f"{folder / MARK} cannot be read, so this place is not used. If the disk is well, set "
            "up a new folder: quirewell studio keep DIR --to NEWPLACE"
        ) from error
    except OSError as error:
        raise PlaceMissing(
            f"the backups' place {folder} cannot be reached ({error.strerror}); nothing was written"
        ) from error
    if version > FORMAT_VERSION:
        raise StudioError(f"{folder} was written by a newer quirewell; install that one")
    return place


def made_place(folder: Path, studio: str, name: str, studio_folder: Path) -> Place:
    """A new place in ``folder`` (made when only itself is missing), or the one that is there.

    ``studio`` is the hash of the studio's first journal entry.

    Raises:
        StudioError: the folder above is missing, it holds other things, or another studio's
            backups, or lies in the studio itself.
    """
    folder, own = folder.absolute(), studio_folder.resolve()
    where = folder.resolve()
    if where.is_relative_to(own) or own.is_relative_to(where):
        raise StudioError(
            f"backups cannot lie in {folder}: that is in the studio's own folder or around it. "
            "Give a folder on another disk"
        )
    if not folder.parent.is_dir():
        raise StudioError(
            f"there is no folder {folder.parent}. Plug the disk in first; only the last folder of "
            "a path is made, so that nothing lands under an empty mount point"
        )
    if (folder / MARK).exists():
        place = found_place(folder)
        if place.studio != studio:
            raise StudioError(
                f"{folder} holds the backups of another studio ({place.name!r}); give each its own "
                "folder"
            )
        return place
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StudioError(
            f"{folder} holds other things; give a new folder in it, such as "
            f"{folder / 'quirewell'}. Nothing was changed"
        )
    place = Place(folder, secrets.token_hex(16), studio, name)
    with said_of(folder):
        folder.mkdir(exist_ok=True)
        for part in (place.backups, folder / POOL):
            part.mkdir()
        put_whole(folder / "README.txt", README.encode())
        mark = {"format": FORMAT, "format_version": FORMAT_VERSION, "id": place.id,
                "studio": studio, "name": name}  # fmt: skip
        put_whole(folder / MARK, json.dumps(mark, indent=1, ensure_ascii=False).encode())
        settle(folder.parent)
    return place


@contextmanager
def said_of(folder: Path) -> Iterator[None]:
    """Turn what the system says of a backup disk into a sentence.

    Raises:
        PlaceMissing: the disk went away.
        StudioError: it is full, or cannot be written.
    """
    try:
        yield
    except OSError as error:
        if is_disk_full(error):
            raise StudioError(
                f"the disk that holds {folder} is full. No backup was made; those made before "
                "stand. Make room there, or keep fewer (--daily, --weekly, --monthly)"
            ) from error
        gone = error.errno in (errno.ENOENT, errno.ENODEV, errno.EIO, errno.ENXIO, errno.ESTALE)
        if gone and not (folder / MARK).exists():
            raise PlaceMissing(
                f"the backups' place {folder} went away while it was written "
                f"({error.strerror}). Backups made before are whole; plug the disk in again"
            ) from error
        raise StudioError(
            f"the backups' place {folder} cannot be written or read ({error.strerror or error}). "
            "No backup was made; those made before stand"
        ) from error


def settle(folder: Path) -> None:
    """Make a rename durable; some shares know no such thing and say so."""
    try:
        sync_folder(folder)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF, errno.EACCES):
            raise


def part_of(target: Path) -> Path:
    """A hidden name beside ``target`` to write under first."""
    return target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")


def put_whole(target: Path, data: bytes) -> None:
    """Write a small file whole or not at all; durable when this returns."""
    part = part_of(target)
    try:
        with part.open("xb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        part.replace(target)
        settle(target.parent)
    finally:
        part.unlink(missing_ok=True)


def snapshots(place: Place) -> tuple[list[Snapshot], list[str]]:
    """The backups in the place, the newest first; and names of those that cannot be read."""
    found, broken = [], []
    for entry in sorted(place.backups.iterdir(), reverse=True):
        if not NAME.fullmatch(entry.name) or not entry.is_dir():
            continue
        try:
            found.append(Snapshot(entry.name, read_manifest(Reader(entry, None), SNAPSHOT_FORMAT)))
        except StudioError:
            broken.append(entry.name)
    found.sort(key=lambda one: (one.manifest.made_at, one.name), reverse=True)
    return found, broken


def leftovers(place: Place) -> list[Path]:
    """What a killed backup left under names that count for nothing."""
    folders = [place.folder, place.backups, place.folder / POOL, *(place.folder / POOL).glob("??")]
    return sorted(
        entry
        for folder in folders
        if folder.is_dir()
        for entry in folder.iterdir()
        if _PART.fullmatch(entry.name)
    )


def clear(entries: Iterable[Path]) -> int:
    """Delete leftovers: our files by their names, folders only when nothing else is in them."""
    gone = 0
    for entry in entries:
        with contextlib.suppress(OSError):
            if entry.is_dir() and not entry.is_symlink():
                for name in (DATABASE, MANIFEST):
                    (entry / name).unlink(missing_ok=True)
                for part in entry.iterdir():
                    if _PART.fullmatch(part.name):
                        part.unlink()
                entry.rmdir()
            else:
                entry.unlink()
            gone += 1
    return gone


@dataclass(frozen=True, slots=True)
class Pooled:
    """An original in the pool: its size [bytes] and the day and time it was last read again."""

    bytes: int
    read_at: str


def pool_list(place: Place) -> dict[str, Pooled]:
    """What we put into the pool; empty when the list is lost: everything is then read again."""
    try:
        said: Any = json.loads((place.folder / READ_AGAIN).read_bytes())
        return {
            name: Pooled(int(one["bytes"]), str(one["read_at"]))
            for name, one in said["originals"].items()
            if is_sha256(name)
        }
    except (FileNotFoundError, ValueError, KeyError, TypeError, AttributeError):
        return {}


def write_pool_list(place: Place, pool: dict[str, Pooled]) -> None:
    """Write the list anew."""
    rows = {
        name: {"bytes": one.bytes, "read_at": one.read_at} for name, one in sorted(pool.items())
    }
    put_whole(place.folder / READ_AGAIN, json.dumps({"originals": rows}, indent=0).encode())
