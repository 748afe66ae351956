"""The tables: one journal that only grows, and projections that can be made again from it."""

from __future__ import annotations

from sqlalchemy import Column, Integer, MetaData, Table, Text

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    }
)

journal = Table(
    "journal",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("stream", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("zone", Text, nullable=False),
    Column("actor", Text, nullable=False),
    Column("prev", Text, nullable=False),
    Column("hash", Text, nullable=False),
)

summary = Table(
    "item_summary",
    metadata,
    Column("stream", Text, primary_key=True),
    Column("title", Text, nullable=False),
    Column("year", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("opened_at", Text, nullable=False),
    Column("changed_at", Text, nullable=False),
    Column("wraps", Integer),
    Column("pictures", Integer, nullable=False),
    Column("unassigned", Integer, nullable=False),
    Column("runs", Integer, nullable=False),
    Column("steps", Integer, nullable=False),
    Column("reports", Integer, nullable=False),
)

documents = Table(
    "item_document",
    metadata,
    Column("stream", Text, primary_key=True),
    Column("collection", Text, primary_key=True),
    Column("key", Text, primary_key=True),
    Column("ordinal", Integer, nullable=False),
    Column("body", Text, nullable=False),
)
