"""Run by alembic: migrates the connection that the caller hands over, within the caller's transaction."""

from alembic import context

from digitise.record.migrations.schema import VERSION_TABLE

context.configure(connection=context.config.attributes["connection"], version_table=VERSION_TABLE)
with context.begin_transaction():
    context.run_migrations()
