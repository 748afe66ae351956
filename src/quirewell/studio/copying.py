"""A studio's tables from one database into another: the journal through the checked door, and
everything else made from it.

So a copy is the same on every engine, and none can differ from what the journal says.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import Connection, Engine

from quirewell.studio import journal
from quirewell.studio.database import open_engine, reading, upgrade, writing
from quirewell.studio.durable import placed
from quirewell.studio.faults import StudioError
from quirewell.studio.rebuilding import Tell, quiet, rebuild


def copy_tables(source: Connection, target: Connection, tell: Tell = quiet) -> tuple[int, str]:
    """Write the journal of ``source`` into the empty tables of ``target``, and make the rest.

    Each entry keeps its number, time and hashes and must follow the one before it. Returns
    (number of entries, hash of the last).

    Raises:
        StudioError: ``target`` holds entries, or the journal of ``source`` is not whole.
    """
    promised = journal.head_of(source)
    head = journal.put_back_all(target, journal.walk(source))
    if head != promised:
        raise StudioError("the copied journal does not end where the journal ends; do it once more")
    rebuild(target, tell)
    return head


def copy_to_file(engine: Engine, target: Path) -> None:
    """A SQLite file of the same journal, of one moment, while others may be writing.

    Raises:
        StudioError: the journal is not whole.
        DiskFull: no room; no half copy is left.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    with placed(target) as part, reading(engine) as source:
        try:
            fill_file(source, part)
        except BaseException:
            remove_file(part)
            raise


def fill_file(source: Connection, target: Path, tell: Tell = quiet) -> tuple[int, str]:
    """:func:`copy_tables` into a new SQLite file, left as one file; its head."""
    made = open_engine(target)
    try:
        upgrade(made, target.parent)
        with writing(made) as connection:
            head = copy_tables(source, connection, tell)
    finally:
        made.dispose()
    as_one_file(target)
    return head


def as_one_file(path: Path) -> None:
    """Bring a SQLite database that nobody has open into its one file."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")


def remove_file(path: Path) -> None:
    """Delete a SQLite database with what lies beside it."""
    for name in (path.name, f"{path.name}-wal", f"{path.name}-shm", f"{path.name}-journal"):
        path.with_name(name).unlink(missing_ok=True)
