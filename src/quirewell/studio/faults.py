"""How the studio says no: each fault is a sentence for the person at the bench."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from errno import EDQUOT, EFBIG, ENOSPC
from pathlib import Path
from typing import Any

from sqlalchemy.exc import OperationalError

from quirewell.record.event import Draft


class StudioError(Exception):
    """Something about a studio's folder or journal that stops the work; says what to do."""


class NoSuchItem(StudioError, KeyError):
    """A stream that the journal does not know."""

    def __str__(self) -> str:
        return str(self.args[0])


class DiskFull(StudioError):
    """No room left; nothing was half saved."""


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
    return isinstance(error, OperationalError) and "disk is full" in str(error)


@contextmanager
def disk_full_said(folder: Path) -> Iterator[None]:
    """Turn the several errors of a full disk into one sentence."""
    try:
        yield
    except (OSError, OperationalError) as error:
        if not is_disk_full(error):
            raise
        raise DiskFull(
            f"the disk that holds {folder} is full; nothing was half saved. Make room (files "
            "under derived/ can be deleted, they are made again), then do it once more: what "
            "is already in is recognised"
        ) from error
