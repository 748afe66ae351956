"""Moving a studio's tables between ``studio.db`` and a PostgreSQL database, all or nothing.

The write lock of the old database is held from the first entry copied to the decision, so nobody
can write past it. Originals and everything else in the folder stay where they are.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, inspect, text

from quirewell.studio import journal
from quirewell.studio.address import (
    DATABASE,
    Address,
    address_of,
    is_studio,
    read_address,
    spoken,
    write_address,
)
from quirewell.studio.clock import instant_text
from quirewell.studio.copying import copy_tables, fill_file, remove_file
from quirewell.studio.database import (
    faults_said,
    open_engine,
    reading,
    refuse_network,
    revision_of,
    upgrade,
    writing,
)
from quirewell.studio.faults import Busy, Moved, StudioError, disk_full_said
from quirewell.studio.moved import (
    ARRIVING,
    ARRIVING_FILE,
    LEFT,
    SQLITE,
    Mark,
    mark_of,
    origin_of,
    set_mark,
    settle,
)
from quirewell.studio.postgres import complaints_of, open_postgres
from quirewell.studio.rebuilding import quiet
from quirewell.studio.studio import Studio
from quirewell.studio.tables import metadata

_MOVING_LOCK = 0x6D6F76696E67
Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Result:
    """A move that is done: from and to in words, and the journal that both sides hold."""

    studio: str
    left: str
    now: str
    events: int
    items: int
    head: str

    def as_json(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return asdict(self)


def silent(words: str) -> None:
    """Tell nobody."""


def move(folder: Path | str, to: str, tell: Tell = silent) -> Result:
    """Move the tables of a studio to ``to`` (an address, or "sqlite") and let the folder say so.

    Both sides are checked whole before the move is decided; the old tables stay, closed.

    Raises:
        StudioError: the new place holds something, either side is not whole, or somebody writes.
    """
    place = Path(folder).absolute()
    with Studio.open(place) as studio:
        here = address_of(place)
        target = None if to.strip().lower() == SQLITE else read_address(to)
        if target == here:
            raise StudioError(f"the tables of {place} are in {_words(here)} already")
        if target is None:
            refuse_network(place)
        with writing(studio.engine) as held:
            tell("nobody writes to the studio until the move is done")
            _refuse_unsound(studio, _words(here))
            mark = Mark(
                LEFT, SQLITE if target is None else target.text, origin_of(place),
                journal.head_of(held)[1], instant_text(studio.clock()),
            )  # fmt: skip
            with _received(held, place, target, mark, tell) as events:
                set_mark(held, mark)
        items = len(studio.items())
    settle(place, mark)
    return Result(str(place), _words(here), _words(target), events, items, mark.head)


def join(folder: Path | str, database: str) -> Studio:
    """Open the studio that a database holds from a folder of this machine, made when missing.

    Raises:
        StudioError: the database holds no studio, or the folder holds another one.
    """
    place = Path(folder).absolute()
    address = read_address(database)
    if place.exists() and not place.is_dir():
        raise StudioError(f"{place} is no folder")
    if is_studio(place):
        _refuse_other(place)
    elif place.exists() and {entry.name for entry in place.iterdir()} - {"keys", "studio.toml"}:
        raise StudioError(f"{place} is not empty; choose a new folder for this machine's part")
    engine = open_postgres(address, place)
    try:
        with reading(engine) as connection:
            if revision_of(connection) is None or not journal.head_of(connection)[0]:
                raise StudioError(
                    f"the database {spoken(address.text)} holds no studio yet; make one there "
                    f"with: quirewell studio new {folder} --database {address.text}"
                )
            mark = mark_of(connection)
            if mark is not None:
                raise StudioError(
                    f"the database {spoken(address.text)} is "
                    + ("left: its studio was moved away" if mark.state == LEFT else
                       "not ready: a studio is just being moved there")
                )  # fmt: skip
    finally:
        engine.dispose()
    with disk_full_said(place):
        for part in ("originals", "derived", "backups"):
            (place / part).mkdir(parents=True, exist_ok=True)
        write_address(place, address)
    return Studio.open(place)


def _refuse_other(place: Path) -> None:
    """A folder that is a studio already may only join when its own tables were moved away."""
    try:
        Studio.open(place).close()
    except Moved:
        return
    raise StudioError(f"{place} holds a studio of its own; choose a new folder to join another")


def _words(address: Address | None) -> str:
    return DATABASE if address is None else f"the database {spoken(address.text)}"


def _refuse_unsound(studio: Studio, side: str) -> None:
    complaints, faults = studio.connection_check()
    if said := [*complaints, *faults, *studio.rebuild_differs()]:
        raise StudioError(f"{side} is not well, nothing was moved: {said[0]}")


@contextmanager
def _received(
    held: Connection, place: Path, target: Address | None, mark: Mark, tell: Tell
) -> Iterator[int]:
    """The tables in their new place, checked there; taken away again when the move fails."""
    if target is None:
        arriving = place / ARRIVING_FILE
        remove_file(arriving)
        engine = open_engine(arriving)
        kept = False
        try:
            room = shutil.disk_usage(place).free
            tell(f"copying into {DATABASE} ({room / 1e9:.1f} GB free)")
            with disk_full_said(place):
                events, _ = fill_file(held, arriving, quiet)
            _look_over(place, engine, mark.head, DATABASE, tell)
            engine.dispose()
            yield events
            kept = True
        finally:
            engine.dispose()
            if not kept:
                remove_file(arriving)
        return
    engine = open_postgres(target, place)
    try:
        with _alone(engine, target):
            _make_room(engine, target, mark)
            upgrade(engine, place / "backups")
            with writing(engine) as connection:
                if said := complaints_of(connection):
                    raise StudioError(f"{_words(target)} is not fit, nothing was moved: {said[0]}")
                set_mark(connection, Mark(ARRIVING, SQLITE, mark.origin, mark.head, mark.at))
            tell(f"copying into {_words(target)}")
            with writing(engine) as connection:
                events, _ = copy_tables(held, connection)
            _look_over(place, engine, mark.head, _words(target), tell)
            yield events
    finally:
        engine.dispose()


def _look_over(place: Path, engine: Engine, head: str, side: str, tell: Tell) -> None:
    tell(f"comparing {side} with the journal, entry by entry")
    copy = Studio(place, engine, _no_clock, "UTC")
    _refuse_unsound(copy, side)
    if copy.head() != head:
        raise StudioError(f"{side} does not end as the journal ends; nothing was moved")


def _no_clock() -> Any:
    raise AssertionError("a copy is looked at, never written to")


@contextmanager
def _alone(engine: Engine, target: Address) -> Iterator[None]:
    """Only one move at a time into a database; the server gives the lock up when a mover dies."""
    with faults_said(engine), engine.connect() as connection:
        taken = connection.execute(
            text("SELECT pg_try_advisory_lock(:key)"), {"key": _MOVING_LOCK}
        ).scalar()
        connection.commit()
        if not taken:
            raise Busy(f"another studio is just being moved into {_words(target)}")
        try:
            yield
        finally:
            connection.execute(text("SELECT pg_advisory_unlock(:key)"), {"key": _MOVING_LOCK})
            connection.commit()


def _make_room(engine: Engine, target: Address, mark: Mark) -> None:
    """Clear what a move of this very studio that was cut short left; refuse anything else."""
    with writing(engine, any_revision=True) as connection:
        if revision_of(connection) is None:
            return
        before, held = mark_of(connection), journal.head_of(connection)[0]
        if before is None and not held:
            return
        if before is None or (before.state, before.origin) != (ARRIVING, mark.origin):
            left = before is not None and before.state == LEFT
            raise StudioError(
                f"{_words(target)} holds "
                + ("tables that were moved away from it" if left else "a studio already")
                + "; nothing was moved. Give an empty one, made with: createdb --encoding UTF8 "
                "--template template0 NAME"
            )
        ours = {*metadata.tables, "search_index", "studio_moved", "alembic_version"}
        quote = connection.dialect.identifier_preparer.quote
        for name in sorted(ours & set(inspect(connection).get_table_names())):
            connection.exec_driver_sql(f"DROP TABLE {quote(name)}")
        connection.exec_driver_sql("DROP FUNCTION IF EXISTS journal_only_grows()")
