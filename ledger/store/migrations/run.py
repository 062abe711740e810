"""Bringing a schema up to date, as one transaction under a lock."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.util.exc import CommandError
from sqlalchemy import Engine

from ledger.errors import StoreUnavailable
from ledger.store.dialect import Dialect
from ledger.store.entry_ranges import ENTRY_RANGE

LOCK = 7_203_115
"""The PostgreSQL advisory lock that migrating programs take, any number that is theirs."""


def upgrade(engine: Engine, dialect: Dialect, to: str = "head", *, entry_range: int = ENTRY_RANGE) -> None:
    """Apply every revision that is missing, up to ``to``. Raises StoreUnavailable for a store of a newer program.

    ``entry_range``: entries of a range, a multiple of 256; it holds for a store from the revision that makes ranges on.
    """
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    with engine.connect() as connection:
        # The driver is in autocommit, so the transaction is begun in words; the pool's rollback ends it on an error.
        connection.exec_driver_sql(dialect.begin_write)
        if dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK})")
            connection.exec_driver_sql("SET LOCAL statement_timeout = '10min'")
        config.attributes.update(connection=connection, entry_range=entry_range)
        try:
            command.upgrade(config, to)
        except CommandError as error:
            raise StoreUnavailable(
                "schema is not one that this program knows", mend="run the program that wrote it, or a newer one"
            ) from error
        connection.exec_driver_sql("COMMIT")
