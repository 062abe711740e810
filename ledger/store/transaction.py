"""One driver connection and its transactions, without an object layer between: what the writer and the readers use.

Statements are written once with ``?`` and quoted names (see `ledger.store.dialect`).  Errors of the driver pass through
as they are; who begins a transaction decides what they mean.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any

from sqlalchemy import Engine

from ledger.store.archived_entries import ArchivedEntries
from ledger.store.dialect import Dialect

Values = Sequence[Any]


class Transaction:
    """A connection from the pool. ``begin_write`` or ``begin_read``, then ``commit`` or ``rollback``; at last ``close``."""

    def __init__(self, engine: Engine, dialect: Dialect, archived: ArchivedEntries | None = None) -> None:
        """Take a connection. ``archived``: the store's archived entries, where it may have any."""
        self.dialect = dialect
        self.archived = archived
        self._connection = engine.raw_connection()
        cursor: Any = self._connection.cursor()
        self._cursor = cursor
        self._ask: Callable[[str, Values], Any] = partial(cursor.execute, **dialect.asking)
        self._sql = dialect.sql

    def begin_write(self) -> None:
        """Begin as the one who may write. On SQLite this takes the lock; on PostgreSQL the head row is the lock."""
        self._cursor.execute(self.dialect.begin_write)

    def begin_read(self) -> None:
        """Begin a consistent look at the whole store."""
        self._cursor.execute(self.dialect.begin_read)

    def begin_temporary(self) -> None:
        """Begin to make temporary tables, which go with the connection. It takes no lock of the book."""
        self._cursor.execute(self.dialect.begin_temporary)

    def commit(self) -> None:
        """Make it durable."""
        self._cursor.execute(self.dialect.commit)

    def rollback(self) -> None:
        """Take it back; harmless where no transaction is open."""
        self._connection.rollback()

    def run(self, text: str, values: Values = ()) -> int:
        """Execute one statement; the number of rows it touched."""
        self._cursor.execute(self._sql(text), values)
        return int(self._cursor.rowcount)

    def run_many(self, text: str, rows: Sequence[Values]) -> None:
        """Execute one statement for each row of values."""
        self.dialect.run_many(self._cursor, text, rows)

    def rows(self, text: str, values: Values = ()) -> list[tuple[Any, ...]]:
        """All rows of a query."""
        self._ask(self._sql(text), values)
        found: list[tuple[Any, ...]] = self._cursor.fetchall()
        return found

    def row(self, text: str, values: Values = ()) -> tuple[Any, ...] | None:
        """The first row of a query."""
        self._ask(self._sql(text), values)
        found: tuple[Any, ...] | None = self._cursor.fetchone()
        return found

    def copy_in(self, text: str, rows: Iterable[Values]) -> None:
        """Enter rows by a COPY statement of PostgreSQL."""
        with self._cursor.copy(text) as copy:
            for row in rows:
                copy.write_row(row)

    def rows_of(self, text: str, wanted: Sequence[Any]) -> list[tuple[Any, ...]]:
        """All rows of a query whose one parameter is a list (`Dialect.any_of`); none asks nothing."""
        return self.rows(text, (self.dialect.list_value(wanted),)) if wanted else []

    def close(self) -> None:
        """Give the connection back to the pool, taking back what was not committed."""
        self._cursor.close()
        self._connection.close()

    def discard(self) -> None:
        """Close a connection whose state is not known."""
        self._connection.invalidate()
