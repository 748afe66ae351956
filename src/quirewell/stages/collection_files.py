"""All files of a folder that is to be surveyed, under names that any file can have.

Nothing here stops for a bad entry: what cannot be looked into is listed with words. Links are
followed; a folder that was met before (a link in a circle, a folder linked twice) is not looked
into again.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Entry:
    """A file under the folder, or a thing there that is none (``error`` says why).

    ``path`` is for opening it, ``name`` the same below the folder as plain text; ``bytes`` and
    ``mtime_ns`` as the file system says.
    """

    path: str
    name: str
    bytes: int = 0
    mtime_ns: int = 0
    error: str = ""


def plain_name(path: str) -> str:
    r"""A file's name as text that any table can hold, another text for every name.

    Bytes that are no UTF-8 are written \xNN, and a backslash is written twice.

    >>> plain_name("wraps/w03.tif")
    'wraps/w03.tif'
    >>> print(plain_name(os.fsdecode(b"caf\xe9.tif")))
    caf\xe9.tif
    """
    doubled = os.fsencode(path).replace(b"\\", b"\\\\")
    return doubled.decode("utf-8", "backslashreplace")


def entries(folder: Path, leave_out: Path | None = None) -> Iterator[Entry]:
    """Every file below ``folder`` in the order of its names; ``leave_out`` (where the results
    go) is not looked into and said so.

    Raises
    ------
    OSError
        only when ``folder`` itself cannot be read
    """
    root = os.fspath(folder)
    with os.scandir(root):
        pass
    status = Path(root).stat()
    met = {(status.st_dev, status.st_ino)}
    yield from _below(root, root, met, _identity(leave_out))


def _identity(path: Path | None) -> tuple[int, int] | None:
    try:
        status = path.stat() if path is not None else None
    except OSError:
        return None
    return None if status is None else (status.st_dev, status.st_ino)


def _below(
    root: str, folder: str, met: set[tuple[int, int]], out: tuple[int, int] | None
) -> Iterator[Entry]:
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        try:
            with os.scandir(here) as found:
                paths = sorted(entry.path for entry in found)
        except OSError as error:
            yield _unread(root, here, f"this folder cannot be looked into: {_words(error)}")
            continue
        below = []
        for path in paths:
            entry, is_folder = _one(root, path, met, out)
            if entry is not None:
                yield entry
            if is_folder:
                below.append(path)
        waiting += reversed(below)


def _one(
    root: str, path: str, met: set[tuple[int, int]], out: tuple[int, int] | None
) -> tuple[Entry | None, bool]:
    """What lies at a path: an entry to list, and whether it is a folder to look into."""
    try:
        status = Path(path).stat()
    except OSError as error:
        link = Path(path).is_symlink()
        said = "a link that leads nowhere or in a circle" if link else _words(error)
        return _unread(root, path, f"this cannot be opened: {said}"), False
    me = (status.st_dev, status.st_ino)
    if stat.S_ISDIR(status.st_mode):
        if me == out:
            return _unread(root, path, "not looked into: results of this survey lie here"), False
        if me in met:
            return _unread(root, path, "not looked into again: this folder was met before"), False
        met.add(me)
        return None, True
    if not stat.S_ISREG(status.st_mode):
        return _unread(root, path, "this is no file but a pipe or a device"), False
    return Entry(path, _name(root, path), status.st_size, status.st_mtime_ns), False


def _unread(root: str, path: str, says: str) -> Entry:
    return Entry(path, _name(root, path), error=says)


def _name(root: str, path: str) -> str:
    return plain_name(os.path.relpath(path, root))


def _words(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()
