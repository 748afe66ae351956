"""The database file: revisions, guards, places it will not live in."""

from __future__ import annotations

import ast
import sqlite3
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect

from quirewell import studio as package
from quirewell.studio import database
from quirewell.studio.database import HEAD_REVISION
from quirewell.studio.faults import DiskFull, StudioError
from quirewell.studio.studio import Studio
from quirewell.studio.tables import metadata
from studio_help import ITEM, defect, studio_with_item

MIGRATIONS = Path(package.__file__).parent / "migrations"


def test_head_revision_is_the_last_migration() -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_current_head() == HEAD_REVISION


def test_migrated_tables_are_the_tables_the_program_knows(tmp_path: Path) -> None:
    studio_with_item(tmp_path / "s").close()
    engine = create_engine(f"sqlite:///{tmp_path / 's' / 'studio.db'}")
    found = inspect(engine)
    for table in metadata.sorted_tables:
        columns = {column["name"] for column in found.get_columns(table.name)}
        assert columns == set(table.columns.keys())
        assert found.get_pk_constraint(table.name)["name"]
        for unique in found.get_unique_constraints(table.name):
            assert unique["name"]
    engine.dispose()


def test_only_the_first_migration_speaks_of_the_journal() -> None:
    for path in sorted((MIGRATIONS / "versions").glob("r*.py"))[1:]:
        words = [
            n.value for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.Constant)
        ]
        assert not any("journal" in str(word) for word in words), path.name


def test_studio_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    studio_with_item(tmp_path / "s").close()
    with sqlite3.connect(tmp_path / "s" / "studio.db") as connection:
        connection.execute("UPDATE alembic_version SET version_num='9999'")
    connection.close()
    with pytest.raises(StudioError, match="newer quirewell"):
        Studio.open(tmp_path / "s")


def test_older_studio_is_copied_before_its_tables_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio_with_item(tmp_path / "s").close()
    monkeypatch.setattr(database, "HEAD_REVISION", "0099")
    monkeypatch.setattr(database, "_run_migrations", lambda connection: None)
    Studio.open(tmp_path / "s").close()
    with sqlite3.connect(tmp_path / "s" / "backups" / "before-tables-0099.db") as copy:
        assert copy.execute("SELECT count(*) FROM journal").fetchone() == (3,)
    copy.close()


def test_migration_that_touches_the_journal_is_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio_with_item(tmp_path / "s").close()
    monkeypatch.setattr(database, "HEAD_REVISION", "0099")

    def meddle(connection: object) -> None:
        run = connection.exec_driver_sql  # type: ignore[attr-defined]
        run("DROP TRIGGER journal_no_UPDATE")
        run("UPDATE journal SET body='{}' WHERE seq=2")

    monkeypatch.setattr(database, "_run_migrations", meddle)
    with pytest.raises(StudioError, match="touched the journal"):
        Studio.open(tmp_path / "s")
    monkeypatch.undo()
    with Studio.open(tmp_path / "s") as studio:
        assert studio.connection_check() == ([], [])


def test_full_disk_under_the_journal_is_said_and_nothing_is_saved(tmp_path: Path) -> None:
    with studio_with_item(tmp_path / "s") as studio:
        with studio.engine.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
            connection.exec_driver_sql(f"PRAGMA max_page_count={pages}")
            connection.rollback()
        big = defect(extent="x" * 200_000)
        with pytest.raises(DiskFull, match="nothing was half saved"):
            studio.append(ITEM, 2, [defect("defect-2"), big])
        assert studio.state(ITEM).version == 2
        assert studio.connection_check() == ([], [])


def test_no_module_of_ours_reads_pickles() -> None:
    """But the one that talks with a worker: what comes back is read by a reader of its own, which
    finds no program (``tests/jobs/test_limited.py``)."""
    root = Path(package.__file__).parents[1]
    for path in root.rglob("*.py"):
        if path.relative_to(root).as_posix() == "jobs/limited.py":
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import):
                assert not any(name.name in ("pickle", "shelve", "marshal") for name in node.names)
            if isinstance(node, ast.ImportFrom):
                assert node.module not in ("pickle", "shelve", "marshal")
