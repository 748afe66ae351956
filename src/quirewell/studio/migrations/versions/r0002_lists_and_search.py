"""Columns that long lists need, and the words that can be found.

The projections are made anew, empty; whoever runs the migrations fills them in the same
transaction (``studio.rebuilding``).
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from quirewell.studio import search

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_table("item_document")
    op.drop_table("item_summary")
    _summary()
    _documents()
    op.create_table(
        "search_entry",
        sa.Column("id", sa.Integer, autoincrement=False, nullable=False),
        sa.Column("stream", sa.Text, nullable=False),
        sa.Column("collection", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("heading", sa.Text, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("about", sa.Text, nullable=False),
        sa.Column("private", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_search_entry"),
        sa.UniqueConstraint("stream", "collection", "key", name="uq_search_entry_stream"),
    )
    search.create_index(op.get_bind())


def _summary() -> None:
    op.create_table(
        "item_summary",
        sa.Column("stream", sa.Text, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("year", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("opened_at", sa.Text, nullable=False),
        sa.Column("changed_at", sa.Text, nullable=False),
        sa.Column("wraps", sa.Integer),
        sa.Column("pictures", sa.Integer, nullable=False),
        sa.Column("unassigned", sa.Integer, nullable=False),
        sa.Column("runs", sa.Integer, nullable=False),
        sa.Column("steps", sa.Integer, nullable=False),
        sa.Column("reports", sa.Integer, nullable=False),
        sa.Column("title_key", sa.Text, nullable=False),
        sa.Column("planned", sa.Integer, nullable=False),
        sa.Column("under_way", sa.Integer, nullable=False),
        sa.Column("sold", sa.Integer, nullable=False),
        sa.Column("check_on", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("stream", name="pk_item_summary"),
    )
    op.create_index("ix_item_summary_changed_at", "item_summary", ["changed_at", "stream"])
    op.create_index("ix_item_summary_title_key", "item_summary", ["title_key", "stream"])


def _documents() -> None:
    op.create_table(
        "item_document",
        sa.Column("stream", sa.Text, nullable=False),
        sa.Column("collection", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("ordinal", sa.Integer, nullable=False),
        sa.Column("sort", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("stream", "collection", "key", name="pk_item_document"),
    )
    op.create_index(
        "ix_item_document_collection", "item_document", ["collection", "sort", "stream"]
    )


def downgrade() -> None:
    raise NotImplementedError("a studio is never taken back; restore the backup made before")
