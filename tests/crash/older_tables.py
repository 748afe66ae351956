"""A studio as it was with its first tables, and a made-up later program with a long migration."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, event

from quirewell.studio import database

LATER = "9001"
FIRST = "0001"
TABLES = ("journal", "item_summary", "item_document")
OWN = Path(database.__file__).parent / "migrations"

# What the later program's newest revision does: many small statements, so that it takes a while.
_LATER = """
import sqlalchemy as sa
from alembic import op

revision = "{later}"
down_revision = "{head}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    connection = op.get_bind()
    op.create_table("item_words", sa.Column("stream", sa.Text), sa.Column("key", sa.Text),
                    sa.Column("words", sa.Text))
    for _ in range(3):
        for row in connection.execute(sa.text("SELECT stream, key, body FROM item_document")).all():
            connection.execute(
                sa.text("INSERT INTO item_words VALUES (:stream, :key, :words)"),
                {{"stream": row.stream, "key": row.key, "words": row.body * 3}},
            )
    op.create_index("ix_item_words_stream", "item_words", ["stream"])
"""


def write_later(folder: Path) -> None:
    """The versions of a later program: one revision after this program's newest."""
    folder.mkdir()
    config = Config()
    config.set_main_option("script_location", str(OWN))
    config.set_main_option("path_separator", "os")
    head = ScriptDirectory.from_config(config).get_current_head()
    (folder / "later.py").write_text(_LATER.format(later=LATER, head=head), encoding="utf-8")


def freeze(studio: Path, target: Path) -> None:
    """A copy of a studio, its tables made by the first revision alone."""
    (target / "backups").mkdir(parents=True)
    shutil.copytree(studio / "originals", target / "originals")
    engine = create_engine(f"sqlite:///{target / database.DATABASE}")
    event.listen(engine, "connect", lambda raw, record: raw.execute("PRAGMA journal_mode=WAL"))
    config = Config()
    config.set_main_option("script_location", str(OWN))
    config.set_main_option("path_separator", "os")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, FIRST)
    engine.dispose()
    with closing(sqlite3.connect(target / database.DATABASE)) as into:
        into.execute("ATTACH DATABASE ? AS live", (os.fspath(studio / database.DATABASE),))
        for table in TABLES:
            columns = ", ".join(row[1] for row in into.execute(f"PRAGMA main.table_info({table})"))
            into.execute(f"INSERT INTO main.{table} ({columns}) "
                         f"SELECT {columns} FROM live.{table}")  # fmt: skip
        into.commit()
        into.execute("DETACH DATABASE live")
