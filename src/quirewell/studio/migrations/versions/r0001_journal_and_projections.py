"""The journal with its guards, and the two projections.

The guards are triggers on SQLite and on PostgreSQL; the tables are the same. Later migrations
may drop and make projections anew; none may touch the journal.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_GUARD = """
CREATE TRIGGER journal_no_{verb} BEFORE {verb} ON journal BEGIN
  SELECT RAISE(ABORT, 'the journal only grows: write a correction, never change an entry');
END
"""


_REFUSE = """
CREATE FUNCTION journal_only_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'the journal only grows: write a correction, never change an entry';
END
$$
"""
_GUARD_POSTGRES = """
CREATE TRIGGER journal_no_{verb} BEFORE {verb} ON journal
  FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows()
"""


def _guard() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(_GUARD.format(verb=verb))
        return
    op.execute(_REFUSE)
    for verb in ("update", "delete", "truncate"):
        op.execute(_GUARD_POSTGRES.format(verb=verb))
        # Also for a session that pretends to be a replica.
        op.execute(f"ALTER TABLE journal ENABLE ALWAYS TRIGGER journal_no_{verb}")


def upgrade() -> None:
    op.create_table(
        "journal",
        sa.Column("seq", sa.Integer, autoincrement=False, nullable=False),
        sa.Column("stream", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("zone", sa.Text, nullable=False),
        sa.Column("actor", sa.Text, nullable=False),
        sa.Column("prev", sa.Text, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_journal"),
        sa.UniqueConstraint("stream", "version", name="uq_journal_stream_version"),
        sa.UniqueConstraint("hash", name="uq_journal_hash"),
        sa.CheckConstraint("seq > 0 AND version > 0", name="ck_journal_counts"),
    )
    _guard()
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
        sa.PrimaryKeyConstraint("stream", name="pk_item_summary"),
    )
    op.create_table(
        "item_document",
        sa.Column("stream", sa.Text, nullable=False),
        sa.Column("collection", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("ordinal", sa.Integer, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("stream", "collection", "key", name="pk_item_document"),
    )


def downgrade() -> None:
    raise NotImplementedError("a studio is never taken back; restore the backup made before")
