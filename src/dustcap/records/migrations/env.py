"""Run by Alembic inside the connection that `upgrade` hands over."""

from __future__ import annotations

from alembic import context

from dustcap.records.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
context.run_migrations()
