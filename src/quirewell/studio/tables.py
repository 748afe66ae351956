"""The tables: one journal that only grows, and projections that can be made again from it."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, MetaData, Table, Text, UniqueConstraint

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
    Column("title_key", Text, nullable=False),
    Column("planned", Integer, nullable=False),
    Column("under_way", Integer, nullable=False),
    Column("sold", Integer, nullable=False),
    Column("check_on", Text, nullable=False),
    Index("ix_item_summary_changed_at", "changed_at", "stream"),
    Index("ix_item_summary_title_key", "title_key", "stream"),
)

documents = Table(
    "item_document",
    metadata,
    Column("stream", Text, primary_key=True),
    Column("collection", Text, primary_key=True),
    Column("key", Text, primary_key=True),
    Column("ordinal", Integer, nullable=False),
    Column("sort", Text, nullable=False),
    Column("body", Text, nullable=False),
    Index("ix_item_document_collection", "collection", "sort", "stream"),
)

search_entry = Table(
    "search_entry",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("stream", Text, nullable=False),
    Column("collection", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("heading", Text, nullable=False),
    Column("words", Text, nullable=False),
    Column("about", Text, nullable=False),
    Column("private", Integer, nullable=False),
    UniqueConstraint("stream", "collection", "key"),
)
