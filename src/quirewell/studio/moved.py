"""The mark in a database that a move leaves: which of two copies of the tables is the studio.

While a copy is on its way in, its database says "arriving", and nothing opens it. The move is
decided in the one transaction in which the old database says "left": from then on it takes no
entry, from any program on any machine. What is still to be put down (the folder's settings, the
mark of the new database) is put down by :func:`settle`, at once or when the studio is next opened.
"""

from __future__ import annotations

import os
import secrets
import socket
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Column, Connection, Engine, MetaData, Table, Text, insert, inspect, select

from quirewell.studio import journal
from quirewell.studio.address import DATABASE, Address, read_address, spoken, write_address
from quirewell.studio.blobs import sync_folder
from quirewell.studio.copying import as_one_file, copy_to_file, remove_file
from quirewell.studio.database import (
    MOVED,
    engine_of,
    is_sqlite,
    open_engine,
    reading,
    writing,
)
from quirewell.studio.faults import Moved, StudioError
from quirewell.studio.postgres import open_postgres
from quirewell.studio.tables import journal as _journal

SQLITE = "sqlite"
ARRIVING_FILE = ".arriving.db"
LEFT, ARRIVING = "left", "arriving"

_mark = Table(
    "studio_moved",
    MetaData(),
    Column("state", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("origin", Text, nullable=False),
    Column("head", Text, nullable=False),
    Column("at", Text, nullable=False),
)
_CLOSE_SQLITE = (
    "CREATE TRIGGER journal_closed BEFORE INSERT ON journal BEGIN "
    f"SELECT RAISE(ABORT, '{MOVED}'); END",
)
_CLOSE_POSTGRES = (
    "CREATE OR REPLACE FUNCTION journal_is_closed() RETURNS trigger LANGUAGE plpgsql AS "
    f"$$ BEGIN RAISE EXCEPTION '{MOVED}'; END $$",
    "CREATE TRIGGER journal_closed BEFORE INSERT ON journal "
    "FOR EACH STATEMENT EXECUTE FUNCTION journal_is_closed()",
)


@dataclass(frozen=True, slots=True)
class Mark:
    """What a database says of a move: where to (or from), by which folder, at which head."""

    state: str
    place: str
    origin: str
    head: str
    at: str


def origin_of(folder: Path) -> str:
    """A name for a folder of this machine, so that only the one that moved goes on by itself."""
    return f"{socket.gethostname()}:{os.fspath(folder.resolve())}"


def mark_of(connection: Connection) -> Mark | None:
    """The mark of a database, None where there is none."""
    if not inspect(connection).has_table(_mark.name):
        return None
    row = connection.execute(select(_mark)).first()
    return Mark(*row) if row else None


def set_mark(connection: Connection, mark: Mark | None) -> None:
    """Put a mark in place of any other; a database that is left takes no entry from now on."""
    _mark.create(connection, checkfirst=True)
    connection.execute(_mark.delete())
    if mark is None:
        return
    values = {name: getattr(mark, name) for name in Mark.__slots__}
    connection.execute(insert(_mark).values(**values))
    if mark.state == LEFT:
        for statement in _CLOSE_SQLITE if is_sqlite(connection) else _CLOSE_POSTGRES:
            connection.exec_driver_sql(statement)


def refuse_taken(folder: Path, address: Address) -> None:
    """Whether a database can take a new studio.

    Raises:
        StudioError: it holds a studio already, or cannot be reached.
    """
    engine = open_postgres(address, folder)
    try:
        with reading(engine) as connection:
            taken = inspect(connection).has_table(_journal.name) and journal.head_of(connection)[0]
    finally:
        engine.dispose()
    if taken:
        raise StudioError(
            f"the database {spoken(address.text)} holds a studio already; to work in that one: "
            f"quirewell studio join {folder} --database {address.text}. For a new one make an "
            f"empty database with: createdb --encoding UTF8 --template template0 NAME"
        )


def settled_engine(folder: Path) -> Engine:
    """The engine on a studio's tables, after putting down a move that was cut short.

    Raises:
        Moved: the tables were moved away by another machine.
        StudioError: they are still arriving.
    """
    engine = engine_of(folder)
    try:
        with reading(engine) as connection:
            mark = mark_of(connection)
    except BaseException:
        engine.dispose()
        raise
    if mark is None:
        return engine
    engine.dispose()
    if mark.state == ARRIVING:
        raise StudioError(
            "the tables of this studio are just being moved here; wait until that is done"
        )
    settle(folder, mark)
    return engine_of(folder)


def settle(folder: Path, mark: Mark) -> None:
    """Put down a move that was decided: afterwards the folder names the new tables.

    Raises:
        Moved: another machine moved the tables; says where they are.
    """
    if mark.origin != origin_of(folder):
        raise Moved(_elsewhere(folder, mark))
    if mark.place == SQLITE:
        _settle_file(folder, mark)
        write_address(folder, None)
        return
    address = read_address(mark.place)
    engine = open_postgres(address, folder)
    try:
        with writing(engine) as connection:
            if mark_of(connection) is not None:
                set_mark(connection, None)
            if not journal.holds(connection, mark.head):
                raise StudioError(
                    f"{spoken(mark.place)} does not hold the journal that was moved there; restore "
                    "a backup, or ask whoever keeps that server"
                )
    finally:
        engine.dispose()
    write_address(folder, address)


def _settle_file(folder: Path, mark: Mark) -> None:
    arriving, place = folder / ARRIVING_FILE, folder / DATABASE
    if not arriving.is_file():
        if not _holds(place, mark.head):
            raise StudioError(
                f"the tables were moved into {folder}, but {ARRIVING_FILE} is not there any more; "
                "restore a backup"
            )
        return
    if not _holds(arriving, mark.head):
        raise StudioError(f"{arriving} is not the journal that was moved there; restore a backup")
    if place.is_file():
        _put_aside(place, folder / "backups")
    as_one_file(arriving)
    arriving.replace(place)
    sync_folder(folder)


def _put_aside(old: Path, backups: Path) -> None:
    """Keep the tables that an earlier move left behind; they end before those that come."""
    engine = open_engine(old)
    try:
        copy_to_file(engine, backups / f"left-{secrets.token_hex(4)}.db")
    finally:
        engine.dispose()
    remove_file(old)


def _holds(path: Path, head: str) -> bool:
    if not path.is_file():
        return False
    engine = open_engine(path)
    try:
        with reading(engine) as connection:
            return journal.holds(connection, head)
    finally:
        engine.dispose()


def _elsewhere(folder: Path, mark: Mark) -> str:
    if mark.place == SQLITE:
        machine, _, there = mark.origin.partition(":")
        return (
            f"{MOVED}: on {mark.at} into a file of the folder {there} on the machine {machine}, "
            "where one machine at a time can use it; ask there"
        )
    return (
        f"{MOVED}: on {mark.at} to the database {spoken(mark.place)}; go on there with: "
        f"quirewell studio join {folder} --database {mark.place}"
    )
