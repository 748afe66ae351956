"""How the studio says no: each fault is a sentence for the person at the bench."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from errno import EACCES, EDQUOT, EFBIG, EIO, ENOSPC, EPERM, EROFS
from pathlib import Path
from typing import Any

from sqlalchemy.exc import OperationalError

from quirewell.record.event import Draft

# What SQLite says comes bare where it is asked directly, as for a copy of the whole database.
_BY_SQLITE = (OperationalError, sqlite3.OperationalError)


class StudioError(Exception):
    """Something about a studio's folder or journal that stops the work; says what to do."""


class NoSuchItem(StudioError, KeyError):
    """A stream that the journal does not know."""

    def __str__(self) -> str:
        return str(self.args[0])


class DiskFault(StudioError):
    """The disk did not take what was to be written; nothing was half saved."""


class DiskFull(DiskFault):
    """No room left; nothing was half saved."""


class Busy(StudioError):
    """Somebody else has been writing for too long; nothing was saved, it can be tried again."""


class ServerLost(StudioError):
    """The database server does not answer; what it had acknowledged is safe there."""


class Moved(StudioError):
    """The tables of this studio are elsewhere now; nothing was saved."""


class NotUndoable(StudioError):
    """An event that cannot be undone; says why and what to do instead."""


class Stale(StudioError):
    """Somebody changed the record after the form was opened.

    ``key`` names the record; ``seen`` is its value when the form was opened (None when it was
    not there), ``now`` its value at this moment, ``sent`` what was about to be saved.
    """

    def __init__(
        self, stream: str, key: str, seen: Any, now: Any, now_touched: int, sent: tuple[Draft, ...]
    ) -> None:
        super().__init__(
            f"{key} of {stream} was changed meanwhile; nothing was saved. Look at both versions "
            "and choose which one is to stand"
        )
        self.stream = stream
        self.key = key
        self.seen = seen
        self.now = now
        self.now_touched = now_touched
        self.sent = sent


def is_disk_full(error: BaseException) -> bool:
    """Whether an error of the operating system or of SQLite means that there is no room."""
    if isinstance(error, OSError):
        return error.errno in (ENOSPC, EDQUOT, EFBIG)
    return isinstance(error, _BY_SQLITE) and "disk is full" in str(error)


def what_failed(error: BaseException) -> str:
    """What a disk said no with, in words; empty where the error is of another kind."""
    said = str(error)
    if isinstance(error, OSError):
        if error.errno in (EACCES, EPERM):
            return "may not be written to by you"
        if error.errno == EROFS:
            return "is on a disk that can only be read"
        return "is on a disk that fails" if error.errno == EIO else ""
    if not isinstance(error, _BY_SQLITE):
        return ""
    if "readonly database" in said or "unable to open database file" in said:
        return "may not be written to by you, or is on a disk that can only be read"
    return "is on a disk that fails" if "disk I/O error" in said else ""


@contextmanager
def disk_full_said(folder: Path) -> Iterator[None]:
    """Turn the several errors of a full, failing or read-only disk into one sentence.

    Raises:
        DiskFull: there is no room.
        DiskFault: the folder may not be written to, or the disk fails.
    """
    try:
        yield
    except (OSError, *_BY_SQLITE) as error:
        if is_disk_full(error):
            raise DiskFull(
                f"the disk that holds {folder} is full; nothing was half saved. Make room (files "
                "under derived/ can be deleted, they are made again), then do it once more: what "
                "is already in is recognised"
            ) from error
        if not (failed := what_failed(error)):
            raise
        fails = "fails" in failed
        advice = (
            "copy the studio to another disk, then run: quirewell studio check" if fails
            else "see to whom it belongs and how the disk is mounted, then do it once more"
        )  # fmt: skip
        raise DiskFault(
            f"{folder} {failed} ({_said(error)}); nothing was half saved: {advice}"
        ) from error


def _said(error: Exception) -> str:
    if isinstance(error, OSError):
        return error.strerror or str(error)
    return str(error.orig if isinstance(error, OperationalError) else error)
