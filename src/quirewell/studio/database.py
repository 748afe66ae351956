"""Opening a studio's tables: durable settings, one writer at a time, migrations.

They are in ``studio.db`` or in a PostgreSQL database (``studio.address``, ``studio.postgres``); all
that reads and writes them is the same code.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.exc import DBAPIError

from quirewell.studio.address import DATABASE as DATABASE
from quirewell.studio.address import address_of
from quirewell.studio.durable import placed
from quirewell.studio.faults import Busy, Moved, StudioError, disk_full_said
from quirewell.studio.file_systems import refuse_network as refuse_network
from quirewell.studio.postgres import fault_of, open_postgres
from quirewell.studio.tables import metadata

HEAD_REVISION = "0002"
_PRAGMAS = (
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    "PRAGMA foreign_keys=ON",
    "PRAGMA busy_timeout=10000",
)


MOVED = "the tables of this studio were moved elsewhere"


def engine_of(folder: Path) -> Engine:
    """Engine on the tables of the studio in a folder, wherever they are."""
    address = address_of(folder)
    return open_engine(folder / DATABASE) if address is None else open_postgres(address, folder)


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
def writing(engine: Engine, any_revision: bool = False) -> Iterator[Connection]:
    """A transaction that holds the write lock from its first statement.

    Raises:
        Busy: somebody else held the lock for too long.
        Moved: the tables are elsewhere now.
        ServerLost: the database server does not answer.
        StudioError: a newer program changed the tables while this one was running.
    """
    with (
        faults_said(engine),
        engine.connect().execution_options(quirewell_writer=True) as connection,
        connection.begin(),
    ):
        if not any_revision:
            _refuse_newer(connection)
        yield connection


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A transaction that sees one moment of the studio."""
    with (
        faults_said(engine),
        engine.connect().execution_options(quirewell_reader=True) as connection,
        connection.begin(),
    ):
        yield connection


@contextmanager
def faults_said(engine: Engine) -> Iterator[None]:
    """Say a full disk, a held lock or a lost server of either database in a sentence."""
    try:
        if is_sqlite(engine):
            with disk_full_said(Path(str(engine.url.database)).parent):
                yield
        else:
            yield
    except DBAPIError as error:
        if MOVED in str(error.orig):
            raise Moved(
                f"{MOVED}; nothing was saved. Close this program and start it anew"
            ) from error
        if not is_sqlite(engine):
            fault = fault_of(engine, error)
        else:
            locked = "database is locked" in str(error.orig)
            fault = Busy(
                "another program has been writing to this studio for more than 10 s; nothing was "
                "saved, do it once more"
            ) if locked else None  # fmt: skip
        if fault is None:
            raise
        raise fault from error


def is_sqlite(bind: Engine | Connection) -> bool:
    """Whether the tables are in a SQLite file."""
    return bind.dialect.name == "sqlite"


def _refuse_newer(connection: Connection) -> None:
    revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if revision is not None and revision > HEAD_REVISION:
        raise StudioError(_newer(revision))


def _newer(revision: str) -> str:
    return (
        f"this studio was written by a newer quirewell (tables {revision}, this program "
        f"knows {HEAD_REVISION}); install the newer program, nothing was changed"
    )


def revision_of(connection: Connection) -> str | None:
    """Revision of the tables, None when there are none yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def upgrade(engine: Engine, backups: Path, tell: Callable[[str], None] | None = None) -> None:
    """Bring the tables to this program's revision; copies the file first when there are rows.

    The projections are then made anew from the journal in the same transaction; ``tell`` hears
    what is being done, in sentences.

    Raises:
        StudioError: the file is from a newer program, or a migration touched the journal.
    """
    with reading(engine) as connection:
        revision = revision_of(connection)
    if revision == HEAD_REVISION:
        return
    if revision is not None:
        if revision > HEAD_REVISION:
            raise StudioError(_newer(revision))
        copied = backups / f"before-tables-{HEAD_REVISION}.db"
        if tell is not None:
            tell(
                f"this studio's tables are older than this program; copying them to {copied} first"
            )
        copy_database(engine, copied)
    with writing(engine, any_revision=True) as connection:
        before = _journal_mark(connection)
        _run_migrations(connection)
        if before is not None and _journal_mark(connection) != before:
            raise StudioError("a migration touched the journal; it was taken back")
        if before is not None:
            _fill(connection, tell)


def _fill(connection: Connection, tell: Callable[[str], None] | None) -> None:
    """Make the projections anew, telling of it now and then where there are many items."""
    from quirewell.studio.rebuilding import rebuild

    def told(done: int, total: int) -> None:
        if tell is not None and (done == total or done % 200 == 0):
            tell(f"lists and search are made anew from the journal: {done} of {total} items")

    rebuild(connection, told)


def _run_migrations(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    if not is_sqlite(connection):
        _order_by_code_point(connection)


def _order_by_code_point(connection: Connection) -> None:
    """Let PostgreSQL compare text as SQLite does, whatever language the database was made for."""
    rows = connection.execute(
        text(
            "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = "
            "'public' AND data_type = 'text' AND collation_name IS NULL ORDER BY 1, 2"
        )
    )
    quote = connection.dialect.identifier_preparer.quote
    for table, column in rows.all():
        if table in metadata.tables:
            connection.exec_driver_sql(
                f'ALTER TABLE {quote(table)} ALTER COLUMN {quote(column)} TYPE text COLLATE "C"'
            )


def _journal_mark(connection: Connection) -> str | None:
    """A hash over every journal entry, read one after another; None where there is no journal."""
    if not inspect(connection).has_table("journal"):
        return None
    wanted = text("SELECT seq, hash, body FROM journal ORDER BY seq")
    digest = hashlib.sha256()
    for row in connection.execute(wanted.execution_options(yield_per=500)):
        digest.update(f"{row.seq} {row.hash} {len(row.body)} {row.body}".encode())
    return digest.hexdigest()


def copy_database(engine: Engine, target: Path) -> None:
    """A consistent copy of the tables as a SQLite file, while others may be writing.

    Of PostgreSQL the journal is copied entry by entry through the checked door and the tables are
    made from it, so that every copy can be opened anywhere (``studio.copying``).
    """
    if not is_sqlite(engine):
        from quirewell.studio.copying import copy_to_file

        copy_to_file(engine, target)
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    with placed(target) as part, engine.connect() as connection:
        source = connection.connection.driver_connection
        copy = sqlite3.connect(part)
        try:
            source.backup(copy)  # type: ignore[union-attr]
            copy.execute("PRAGMA journal_mode=DELETE")
        finally:
            copy.close()


def file_complaints(connection: Connection) -> list[str]:
    """What is wrong with a SQLite file, or missing in it, in sentences."""
    rows = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
    found = connection.exec_driver_sql(
        "SELECT name FROM sqlite_master WHERE type='trigger' AND tbl_name='journal'"
    ).scalars()
    complaints = [f"the database file is damaged: {row}" for row in rows if row != "ok"]
    if not {"journal_no_UPDATE", "journal_no_DELETE"} <= set(found):
        complaints.append("the guards that keep journal entries from being changed are missing")
    return complaints
