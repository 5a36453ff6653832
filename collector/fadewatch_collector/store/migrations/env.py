"""Run migrations on the connection that ``store.schema`` hands over."""

from alembic import context

from fadewatch_collector.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    # SQLite changes a table by copying it; PostgreSQL ignores this.
    render_as_batch=True,
    # Where the connection comes in a transaction already (SQLite), that one holds all.
    transaction_per_migration=True,
)
with context.begin_transaction():
    context.run_migrations()
