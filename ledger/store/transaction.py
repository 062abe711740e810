"""One driver connection and its transactions, without an object layer between: what the writer and the readers use.

Statements are written once with ``?`` and quoted names (see `ledger.store.dialect`).  Errors of the driver pass through
as they are; who begins a transaction decides what they mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
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
        self._held: Any = self._connection.cursor()
        self._asking = dialect.asking
        self._sql = dialect.sql
        self._ahead: Any = None
        """What was sent ahead (`send_many`); None where nothing ever was."""
        self._gathered: Any = None
        """What is to be written together (`put_many`); None where nothing ever was."""

    @property
    def _cursor(self) -> Any:
        """The cursor, once what was sent ahead or gathered is done. Raises what went wrong with that."""
        self.settle()
        return self._held

    def settle(self) -> None:
        """Write what was gathered, and wait for what was sent ahead. Raises what went wrong with either."""
        if self._ahead is not None:
            self._ahead.settle()
        if self._gathered is not None:
            self._gathered.settle()

    def begin_write(self) -> None:
        """Begin as the one who may write. On SQLite this takes the lock; on PostgreSQL the head row is the lock."""
        self._cursor.execute(self.dialect.begin_write)

    def begin_group(self) -> None:
        """The same, for as long as a group of entries may take at most (`Dialect.begin_group`)."""
        self._cursor.execute(self.dialect.begin_group)

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
        self._give_up()
        self._connection.rollback()

    def run(self, text: str, values: Values = ()) -> int:
        """Execute one statement; the number of rows it touched."""
        self._cursor.execute(self._sql(text), values)
        return int(self._held.rowcount)

    def run_many(self, text: str, rows: Sequence[Values]) -> None:
        """Execute one statement for each row of values."""
        self.dialect.run_many(self._cursor, text, rows)

    def send_many(self, text: str, rows: Sequence[Values]) -> None:
        """The same, and go on before it is done where the database works by itself meanwhile.

        Whatever is asked next waits for it, and raises what went wrong with it.
        """
        if self._ahead is None:
            self._ahead = self.dialect.sent_ahead(self._connection.driver_connection)
        if rows and not (self._ahead is not None and self._ahead.send_many(text, rows)):
            self.run_many(text, rows)

    def put_many(self, text: str, rows: Sequence[Values]) -> None:
        """The same, by the next thing that is asked at the latest, together with what else was put until then.

        None of that may rest on another's rows. What is asked next raises what went wrong with it.
        """
        if self._ahead is not None:
            self._ahead.settle()
        if self._gathered is None:
            self._gathered = self.dialect.gathered(self._connection.driver_connection)
        if rows and not (self._gathered is not None and self._gathered.put_many(text, rows)):
            self.run_many(text, rows)

    def rows(self, text: str, values: Values = ()) -> list[tuple[Any, ...]]:
        """All rows of a query."""
        self._cursor.execute(self._sql(text), values, **self._asking)
        found: list[tuple[Any, ...]] = self._held.fetchall()
        return found

    def row(self, text: str, values: Values = ()) -> tuple[Any, ...] | None:
        """The first row of a query."""
        self._cursor.execute(self._sql(text), values, **self._asking)
        found: tuple[Any, ...] | None = self._held.fetchone()
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
        self._give_up()
        self._held.close()
        self._connection.close()

    def discard(self) -> None:
        """Close a connection whose state is not known."""
        # SQLite ends the transaction of a connection only with the last statement on it, which the cursor may hold.
        with suppress(self.dialect.errors):
            self._held.close()
        self._connection.invalidate()

    def _give_up(self) -> None:
        """Wait for what was sent ahead, whatever became of it, and drop what was gathered."""
        if self._gathered is not None:
            self._gathered.forget()
        if self._ahead is not None:
            with suppress(self.dialect.errors):
                self._ahead.settle()
