"""How a SQLite connection is set up, read back from the database itself."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from ledger.store.dialect import Sqlite
from ledger.store.engine import open_store
from tests.stores import fresh_file

PRAGMAS = {
    "journal_mode": "wal",
    "synchronous": 2,
    "foreign_keys": 1,
    "recursive_triggers": 1,
    "busy_timeout": 15_000,
    "wal_autocheckpoint": 8_192,
}


@pytest.mark.parametrize(("pragma", "value"), PRAGMAS.items())
def test_every_connection_is_durable_and_strict(tmp_path: Path, pragma: str, value: object) -> None:
    """WAL, full flushes, foreign keys and triggers under REPLACE hold on each connection of the pool."""
    store = open_store(fresh_file(tmp_path))
    connections = [store.transaction() for _ in range(3)]
    found = [connection.row(f"PRAGMA {pragma}") for connection in connections]
    for connection in connections:
        connection.close()
    store.close()
    assert [(value,)] * 3 == found


def test_errors_are_told_apart_by_their_code() -> None:
    """A lock is a lock and a failed write is a failed write, whatever the text says."""
    dialect = Sqlite()
    kinds = []
    for code in (sqlite3.SQLITE_BUSY_SNAPSHOT, sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_CONSTRAINT):
        error = sqlite3.OperationalError("whatever")
        error.sqlite_errorcode = code
        kinds.append((dialect.is_busy(error), dialect.is_flush_failure(error), dialect.is_lost(error)))
    assert [(True, False, False), (False, True, False), (False, False, False)] == kinds


def test_a_list_is_one_parameter(tmp_path: Path) -> None:
    """Texts with quotes, commas and letters beyond ASCII are matched as they are."""
    store = open_store(fresh_file(tmp_path))
    odd = ["a'b", 'c"d', "e,f", "\N{LATIN SMALL LETTER O WITH DIAERESIS}", "[]"]
    with store.writing() as transaction:
        transaction.run_many('INSERT INTO "setting" VALUES (?, ?)', [(name, "") for name in odd])
        condition = store.dialect.any_of('"name"')
        found = transaction.rows_of(f'SELECT "name" FROM "setting" WHERE {condition}', odd)  # noqa: S608  # fixed
        assert [] == transaction.rows_of("never asked", [])
    store.close()
    assert sorted(odd) == sorted(row[0] for row in found)
