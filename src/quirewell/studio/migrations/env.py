"""Runs migrations on the connection that the studio hands over."""

from __future__ import annotations

from alembic import context

from quirewell.studio.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
context.run_migrations()
