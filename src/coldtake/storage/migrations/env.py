"""Alembic's entry: migrate over the connection, and in the transaction, that we are given."""

from alembic import context

from coldtake.storage.database.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
