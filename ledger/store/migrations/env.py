"""What Alembic runs: the revisions, on the connection and in the transaction that `run.upgrade` gives it."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
