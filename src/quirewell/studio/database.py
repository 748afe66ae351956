"""Opening ``studio.db``: durable settings, one writer at a time, migrations."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text

from quirewell.studio.faults import StudioError, disk_full_said

DATABASE = "studio.db"
HEAD_REVISION = "0001"
_PRAGMAS = (
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    "PRAGMA foreign_keys=ON",
    "PRAGMA busy_timeout=10000",
)
_NETWORK = frozenset(
    {"nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ncpfs", "fuse.sshfs", "fuse.rclone"}
)


def open_engine(path: Path) -> Engine:
    """Engine on a SQLite file with WAL, synchronous FULL, foreign keys and a busy timeout."""
    engine = create_engine(f"sqlite:///{path}", connect_args={"check_same_thread": False})
    event.listen(engine, "connect", _on_connect)
    event.listen(engine, "begin", _on_begin)
    return engine


def _on_connect(connection: Any, record: Any) -> None:
    connection.isolation_level = None
    for pragma in _PRAGMAS:
        connection.execute(pragma)


def _on_begin(connection: Connection) -> None:
    writer = connection.get_execution_options().get("quirewell_writer", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writer else "BEGIN")


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that holds the write lock from its first statement."""
    with (
        disk_full_said(Path(str(engine.url.database)).parent),
        engine.connect().execution_options(quirewell_writer=True) as connection,
        connection.begin(),
    ):
        yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A transaction that sees one moment of the studio."""
    with engine.connect() as connection, connection.begin():
        yield connection


def revision_of(connection: Connection) -> str | None:
    """Revision of the tables, None when there are none yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def upgrade(engine: Engine, backups: Path) -> None:
    """Bring the tables to this program's revision; copies the file first when there are rows.

    Raises:
        StudioError: the file is from a newer program, or a migration touched the journal.
    """
    with reading(engine) as connection:
        revision = revision_of(connection)
    if revision == HEAD_REVISION:
        return
    if revision is not None:
        if revision > HEAD_REVISION:
            raise StudioError(
                f"this studio was written by a newer quirewell (tables {revision}, this program "
                f"knows {HEAD_REVISION}); install the newer program, nothing was changed"
            )
        copy_database(engine, backups / f"before-tables-{HEAD_REVISION}.db")
    with writing(engine) as connection:
        before = _journal_mark(connection)
        _run_migrations(connection)
        if before is not None and _journal_mark(connection) != before:
            raise StudioError("a migration touched the journal; it was taken back")


def _run_migrations(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _journal_mark(connection: Connection) -> tuple[Any, ...] | None:
    if not inspect(connection).has_table("journal"):
        return None
    rows = connection.execute(text("SELECT seq, hash, body FROM journal ORDER BY seq"))
    return tuple(map(tuple, rows))


def copy_database(engine: Engine, target: Path) -> None:
    """A consistent copy of the database while others may be writing."""
    target.parent.mkdir(parents=True, exist_ok=True)
    with disk_full_said(target.parent), engine.connect() as connection:
        source = connection.connection.driver_connection
        copy = sqlite3.connect(target)
        try:
            source.backup(copy)  # type: ignore[union-attr]
            copy.execute("PRAGMA journal_mode=DELETE")
        finally:
            copy.close()


def refuse_network(folder: Path) -> None:
    """Say no to a file system whose locks cannot be trusted.

    Raises:
        StudioError: the folder lies on a network share.
    """
    kind = file_system_of(folder)
    if kind in _NETWORK:
        raise StudioError(
            f"{folder} lies on a network share ({kind}), where a journal can be damaged without "
            "a word; keep the studio on this machine's own disk and its backups on the share"
        )


def file_system_of(folder: Path, mounts: Path = Path("/proc/self/mountinfo")) -> str:
    """Type of the file system that holds a folder; empty when it cannot be told."""
    try:
        lines = mounts.read_text().splitlines()
    except OSError:
        return ""
    place = folder.resolve()
    best, found = -1, ""
    for line in lines:
        left, _, right = line.partition(" - ")
        point = Path(left.split()[4].replace("\\040", " "))
        if place.is_relative_to(point) and len(point.parts) >= best:
            best, found = len(point.parts), right.split()[0]
    return found
