"""Run the migrations over the connection that the store hands in."""

from alembic import context

from visual_aid.records.schema import metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, render_as_batch=True
)
context.run_migrations()
