"""Looks at disks, at who may read and write, and at what killed work left behind."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from pathlib import Path

from quirewell.studio.database import DATABASE
from quirewell.studio.disks import free_bytes, same_disk, size_words
from quirewell.studio.faults import StudioError
from quirewell.studio.file_systems import file_system_of, is_network
from quirewell.studio.health_row import Row, fine, look, wrong
from quirewell.studio.keep_place import leftovers
from quirewell.studio.keep_setup import SAME_DISK, the_place
from quirewell.studio.keys import KEYS
from quirewell.studio.own_settings import backup_settings
from quirewell.studio.studio import Studio
from quirewell.studio.where import WHERE

# Our choice, no source: below the first a large intake may not fit, below the second hardly a save.
LOW_BYTES, LEAST_BYTES = 2_000_000_000, 200_000_000
LARGE_WAL_BYTES = 64_000_000
MAKE_ROOM = "Make room on it: files under derived/ may be deleted, they are made again"


def of_disks(studio: Studio) -> Iterator[Row]:
    """Room and kind of each disk that the studio uses."""
    folder = studio.folder
    kind = file_system_of(folder)
    yield _room("disk", "Disk of the studio", folder, kind, MAKE_ROOM)
    if is_network(kind):
        yield wrong(
            "disk-kind", "Kind of disk", f"The studio lies on a network share ({kind})",
            "Keep it on this machine's own disk, and its backups on the share",
        )  # fmt: skip
    originals = studio.blobs.folder
    if originals.is_dir() and originals.stat().st_dev != folder.stat().st_dev:
        yield _room(
            "disk-originals", "Disk of the originals", originals, file_system_of(originals),
            "Make room on it",
        )  # fmt: skip
    yield from _place(folder)
    wal = folder / f"{DATABASE}-wal"
    if wal.is_file():
        size = wal.stat().st_size
        if size > LARGE_WAL_BYTES:
            yield look(
                "wal", "Write-ahead file", f"{size_words(size)}: it was not folded in for long",
                "Close every program that has the studio open, then open it once",
            )  # fmt: skip
        else:
            yield fine("wal", "Write-ahead file", size_words(size))


def _place(folder: Path) -> Iterator[Row]:
    if not backup_settings(folder).place:
        return
    try:
        _, place = the_place(folder)
    except StudioError:
        return  # said by the line on backups
    kind = file_system_of(place.folder)
    yield _room(
        "disk-backups", "Disk of the backups", place.folder, kind,
        "Make room on it, or keep fewer backups (--daily, --weekly, --monthly)",
    )  # fmt: skip
    if same_disk(folder, place.folder):
        yield look("disk-same", "Another disk", SAME_DISK.partition(". ")[0].capitalize(),
                   SAME_DISK.partition(". ")[2])  # fmt: skip
    if left := leftovers(place):
        yield fine(
            "backups-left", "Leftovers of backups",
            f"{len(left)} of a backup that is being made or was cut short; the next clears them",
        )  # fmt: skip


def _room(code: str, what: str, folder: Path, kind: str, advice: str) -> Row:
    free = free_bytes(folder)
    says = f"{size_words(free)} free" + (f" ({kind})" if kind else "")
    if free < LEAST_BYTES:
        return wrong(code, what, says, advice)
    if free < LOW_BYTES:
        return look(code, what, says, advice)
    return Row(code, what, "fine", f"{says}.")


def of_folder(folder: Path) -> Iterator[Row]:
    """Who may write into the folder and read its keys; what unfinished work lies in it."""
    if not folder.is_dir():
        return
    mode = stat.S_IMODE(folder.stat().st_mode)
    if mode & 0o022:
        yield look(
            "folder", "The studio's folder", f"Others on this machine may write into it ({mode:o})",
            f"chmod go-w {folder.name}",
        )  # fmt: skip
    elif mode & 0o055:
        yield fine(
            "folder", "The studio's folder",
            "Written by its owner alone; others on this machine may read it",
            f"To shut them out: chmod go-rwx {folder.name}",
        )  # fmt: skip
    else:
        yield fine("folder", "The studio's folder", "Read and written by its owner alone")
    yield from _keys(folder)
    left = [entry for entry in _unfinished(folder) if entry.exists()]
    if left:
        yield look(
            "leftovers", "Leftovers",
            f"{len(left)} of work that is under way or was cut short, such as "
            f"{left[0].relative_to(folder)}",
            "They count for nothing. When nothing is being done, they may be deleted",
        )  # fmt: skip
    else:
        yield fine("leftovers", "Leftovers", "None of work that was cut short")


def _keys(folder: Path) -> Iterator[Row]:
    keys = folder / KEYS
    private = [*([keys, *keys.iterdir()] if keys.is_dir() else []), folder / WHERE]
    private = [entry for entry in private if entry.exists()]
    bare = [entry for entry in private if stat.S_IMODE(entry.stat().st_mode) & 0o077]
    if bare:
        yield wrong(
            "keys", "Keys", f"{bare[0].relative_to(folder)} can be read by others on this machine",
            f"chmod -R go-rwx {folder.name}/{KEYS} {folder.name}/{WHERE}",
        )  # fmt: skip
    elif private:
        yield fine("keys", "Keys", "Read by their owner alone")


def _unfinished(folder: Path) -> list[Path]:
    patterns = (
        "originals/.incoming/*.part", "originals/??/*.part", "backups/.copy-*", "backups/.keep-*",
        "backups/.*.part", "backups/*.part", ".*.part", "derived/.*.part", "derived/*/.*.part",
        f"{KEYS}/.*.part",
    )  # fmt: skip
    hidden = [one for pattern in patterns for one in folder.glob(pattern)]
    return [one for one in dict.fromkeys(hidden) if one.name != ".keep.lock"]
