"""The one way a file that must last gets its name: whole, or not at all.

Write under a hidden name beside it, sync what was written, rename, sync the folder. Killed or
refused at any point there is the file that was there before, or the new one, never half of one;
what a killed try left behind is cleared by the next try under the same name.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import platform
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil

from quirewell.studio.faults import disk_full_said

_MACHINE = hashlib.sha256(platform.node().encode()).hexdigest()[:8]
_OPEN: set[Path] = set()
_TICK_S = 2.0  # how far the times of processes and files may differ


def sync_folder(folder: Path) -> None:
    """Make a new name in ``folder`` last; nothing where the system cannot sync a folder."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:  # some shares know no such thing and say so
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    """Make the bytes of a file last."""
    handle = os.open(path, os.O_RDONLY if os.name != "nt" else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_tree(path: Path) -> None:
    """Make a file, or a folder with all that is in it, last; the innermost first."""
    if not path.is_dir() or path.is_symlink():
        if path.is_file() and not path.is_symlink():
            sync_file(path)
        return
    for entry in sorted(path.iterdir()):
        sync_tree(entry)
    sync_folder(path)


@contextmanager
def placed(target: Path) -> Iterator[Path]:
    """A hidden name beside ``target``, under which a file or folder is written.

    Left without an error it is synced and becomes ``target``, durable from then on (a folder
    only where there is none, or an empty one). Left with an error it is gone, and what was there
    before stands.

    Raises:
        DiskFault: no room, or the disk cannot be written; what was there before stands.
    """
    with disk_full_said(target.parent):
        clear_left(target)
        part = _hidden(target)
        writing_now(part)
        try:
            yield part
            sync_tree(part)
            _rename(part, target)
        finally:
            written(part)


@contextmanager
def scratch(target: Path) -> Iterator[Path]:
    """A hidden folder beside ``target`` for what is needed while it is written; gone afterwards.

    Raises:
        DiskFault: no room, or the disk cannot be written.
    """
    with disk_full_said(target.parent):
        folder = _hidden(target)
        writing_now(folder)
        try:
            folder.mkdir()
            yield folder
        finally:
            written(folder)


def _hidden(target: Path) -> Path:
    return target.with_name(f"{_begins(target)}{os.getpid()}-{secrets.token_hex(4)}.part")


def _rename(part: Path, target: Path) -> None:
    """Give the part its name; where that cannot be made to last, a new name is taken back."""
    new = not os.path.lexists(target)
    if part.is_dir() and target.is_dir():
        target.rmdir()  # a folder can only take the place of an empty one
    try:
        part.replace(target)
        sync_folder(target.parent)
    except OSError:
        if new and os.path.lexists(target):
            target.replace(part)
        raise


def write_whole(target: Path, data: bytes, mode: int = 0o666, new: bool = False) -> None:
    """Put a file in place whole; durable when this returns. ``mode`` is what a new file allows,
    before the user's own mask; ``new`` writes over nothing.

    Raises:
        DiskFault: no room, or the disk cannot be written; what was there before stands.
        FileExistsError: the name is taken and ``new`` was asked.
    """
    if new and os.path.lexists(target):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target))
    with placed(target) as part:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0),
                         mode)  # fmt: skip
        with os.fdopen(handle, "wb") as out:
            out.write(data)


def clear_left(target: Path) -> int:
    """Remove what killed tries left beside ``target``; how many. What another living process of
    this machine, or another machine, is writing stays."""
    try:
        beside = [entry for entry in target.parent.iterdir()
                  if entry.name.startswith(_begins(target))]  # fmt: skip
    except FileNotFoundError:
        return 0
    left = [entry for entry in beside if _left_behind(entry, target)]
    for entry in left:
        remove(entry)
    return len(left)


def _begins(target: Path) -> str:
    return f".{target.name}.{_MACHINE}-"


def _left_behind(entry: Path, target: Path) -> bool:
    rest = entry.name.removeprefix(_begins(target))
    match = re.fullmatch(r"(\d+)-[0-9a-f]{8}\.part(-journal|-wal|-shm)?", rest)
    return match is not None and not is_being_written(entry, int(match[1]))


def writing_now(part: Path) -> None:
    """Say that this process is writing a part, so that it is not cleared as left behind."""
    _OPEN.add(part)


def written(part: Path) -> None:
    """Say that it is no longer; what is left of the part is removed."""
    remove(part)
    _OPEN.discard(part)


def is_being_written(part: Path, process: int) -> bool:
    """Whether the process that began a part is still at it: it lives, and began before the part
    was last written (else its number was given to another since)."""
    if process == os.getpid():
        return part in _OPEN
    try:
        other = psutil.Process(process)
        if other.status() == psutil.STATUS_ZOMBIE:
            return False
        return bool(other.create_time() <= part.lstat().st_mtime + _TICK_S)
    except psutil.NoSuchProcess:
        return False
    except (psutil.Error, OSError):
        return True


def remove(path: Path) -> None:
    """Take a file or folder away, read-only ones too; nothing where it is not there."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with contextlib.suppress(FileNotFoundError):
            path.unlink()
