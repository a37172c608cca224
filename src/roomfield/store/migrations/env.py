"""Run by Alembic: applies the steps on the connection that was handed over."""

from __future__ import annotations

from alembic import context

from roomfield.store.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
