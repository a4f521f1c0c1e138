"""How Alembic reaches the store: by the connection that the store hands over."""

from __future__ import annotations

from alembic import context

from tripplan.store.tables import METADATA

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=METADATA, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
