"""A studio of every released schema, with data in it, comes up whole on either engine.

``tests/data/releases/REVISION.sql`` is a studio's database as the program of that revision wrote it
(see the README there). A release adds its file and its line in ``RELEASES``.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import MetaData, insert, text

from postgres_studios import PostgresStudios
from quirewell.record.nouns import ItemState
from quirewell.studio import database, projection
from quirewell.studio import studio as package
from quirewell.studio.address import read_address, write_address
from quirewell.studio.database import HEAD_REVISION, engine_of, reading, revision_of, writing
from quirewell.studio.faults import StudioError
from quirewell.studio.studio import Studio
from studio_help import ITEM, defect, studio_with_item

DATA = Path(__file__).parents[1] / "data" / "releases"
RELEASES = {
    "0001": "da66f1bbb63ab57c43e24b6ee88e0c9300ec5c5ed1df33180da50f18f5bb04c7",
}  # revision -> head of the journal in its file


class Frozen:
    """A studio as a released program left it: its rows, table by table."""

    def __init__(self, revision: str) -> None:
        self.revision, self.head = revision, RELEASES[revision]
        self.sql = (DATA / f"{revision}.sql").read_text(encoding="utf-8")
        self.rows: dict[str, list[dict[str, Any]]] = {}
        with closing(sqlite3.connect(":memory:")) as connection:
            connection.row_factory = sqlite3.Row
            connection.executescript(self.sql)
            names = connection.execute(
                "SELECT name FROM sqlite_master WHERE type='table' AND sql NOT LIKE '%VIRTUAL%' "
                "AND name NOT LIKE 'search_index%'"
            )
            for (name,) in names.fetchall():
                found = connection.execute(f"SELECT * FROM {name}").fetchall()
                self.rows[name] = [dict(row) for row in found]

    def states(self) -> Iterator[ItemState]:
        """Every item's state as the released program's own tables give it."""
        for line in self.rows["item_summary"]:
            values: dict[str, Any] = {
                name: {} for name in (*projection.COLLECTIONS, "touched")
            }  # fmt: skip
            mine = [row for row in self.rows["item_document"] if row["stream"] == line["stream"]]
            for row in sorted(mine, key=lambda row: row["ordinal"]):
                projection.take(values, row["collection"], row["key"], row["body"])
            yield ItemState(id=line["stream"], version=line["version"], **values)

    def into_file(self, folder: Path) -> None:
        """Lay it down as a SQLite studio."""
        folder.mkdir()
        with closing(sqlite3.connect(folder / "studio.db")) as connection:
            connection.executescript(self.sql)

    def into_postgres(self, folder: Path, studios: PostgresStudios) -> None:
        """Lay it down in a PostgreSQL database: that revision's tables, then its rows."""
        folder.mkdir()
        write_address(folder, read_address(studios.new_database(folder)))
        engine = engine_of(folder)
        config = Config()
        place = Path(package.__file__).parent / "migrations"
        config.set_main_option("script_location", str(place))
        config.set_main_option("path_separator", "os")
        with writing(engine, any_revision=True) as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, self.revision)
            database._order_by_code_point(connection)
            found = MetaData()
            found.reflect(connection)
            for name, rows in self.rows.items():
                if rows and name != "alembic_version":
                    connection.execute(insert(found.tables[name]), rows)
        engine.dispose()


@pytest.fixture(params=RELEASES)
def frozen(request: pytest.FixtureRequest) -> Frozen:
    return Frozen(request.param)


@pytest.fixture
def old(frozen: Frozen, tmp_path: Path, either_engine: str, request: Any) -> Path:
    folder = tmp_path / "old"
    if either_engine == "sqlite":
        frozen.into_file(folder)
    else:
        frozen.into_postgres(folder, request.getfixturevalue("on_postgres"))
    return folder


def test_every_release_has_data_in_it(frozen: Frozen) -> None:
    assert len(frozen.rows["journal"]) > 50 and len(frozen.rows["item_document"]) > 50
    assert frozen.rows["journal"][-1]["hash"] == frozen.head
    assert frozen.rows["alembic_version"] == [{"version_num": frozen.revision}]


def test_released_studio_comes_up_whole(old: Path, frozen: Frozen, tmp_path: Path) -> None:
    with Studio.open(old) as studio:
        with reading(studio.engine) as connection:
            assert revision_of(connection) == HEAD_REVISION
            rows = connection.execute(text("SELECT * FROM journal ORDER BY seq")).mappings().all()
        assert [dict(row) for row in rows] == frozen.rows["journal"]
        assert studio.head() == frozen.head
        assert studio.connection_check() == ([], []) and studio.rebuild_differs() == []
        states = list(frozen.states())
        assert [studio.state(state.id) for state in states] == states
        assert len(studio.items()) == len(states)
        studio.append(states[0].id, None, [_noted(states[0].id)])
        assert studio.rebuild_differs() == []


def test_old_tables_are_kept_before_they_change(old: Path, frozen: Frozen, tmp_path: Path) -> None:
    if frozen.revision == HEAD_REVISION:
        pytest.skip("this release is the newest; nothing changes")
    Studio.open(old).close()
    kept = tmp_path / "kept"
    kept.mkdir()
    shutil.copy(old / "backups" / f"before-tables-{HEAD_REVISION}.db", kept / "studio.db")
    with Studio.open(kept) as studio:
        assert studio.head() == frozen.head and studio.rebuild_differs() == []


def _noted(stream: str) -> Any:
    draft = defect("upgraded")
    return type(draft)(stream, draft.kind, draft.body)


def _mark_newer(studio: Studio) -> None:
    with studio.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))


@pytest.mark.usefixtures("either_engine")
def test_newer_studio_is_refused_kindly(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        _mark_newer(studio)
        with pytest.raises(StudioError, match=r"newer quirewell.*install the newer program"):
            Studio.open(tmp_path / "s")


@pytest.mark.usefixtures("either_engine")
def test_program_does_not_write_once_a_newer_one_changed_the_tables(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        before = studio.head()
        _mark_newer(studio)
        with pytest.raises(StudioError, match="newer quirewell"):
            studio.append(ITEM, 2, [defect()])
        assert studio.head() == before
