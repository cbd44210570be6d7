"""Run by Alembic: uses the connection and transaction that `journal.migrate` opened."""

from alembic import context

from fruitwall.journal.tables import VERSION_TABLE, metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
    # SQLite cannot alter a column; later migrations copy the table instead.
    render_as_batch=True,
)
context.run_migrations()
