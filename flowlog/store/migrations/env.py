"""Runs the migrations on the connection that `flowlog.store.migrate` hands over."""

from __future__ import annotations

from alembic import context

from flowlog.store.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    # The caller's transaction is the only one: a migration happens whole or not at all.
    transactional_ddl=True,
    render_as_batch=True,
)
context.run_migrations()
