"""The floor of a writer: recorded rows written again with nothing but the driver, a group a commit."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ledger.store.transaction import Values
from ops.bench.drivers import open_connection
from ops.bench.recording import Written

_SQLITE_SETTINGS = (
    "synchronous=FULL", "foreign_keys=ON", "recursive_triggers=ON", "wal_autocheckpoint=8192", "cache_size=-65536",
    "temp_store=MEMORY",
)  # fmt: skip
"""Those of the product's own connections: full flushes, the same cache."""

_INSERT = re.compile(r'INSERT INTO ("[a-z_]+" \([^()]*\)) VALUES \([^()]*\)')

COPIED_FROM = 64
"""Rows of a table from which on PostgreSQL takes them quicker by COPY than by one INSERT each, all sent at once."""

New = Mapping[str, Sequence[Values]]
Last = Mapping[str, Mapping[Any, Values]]


class RawInserts:
    """Writes recorded entries in order to a copy of the book; one connection."""

    def __init__(self, url: str, written: Iterator[Written]) -> None:
        """Open the copy."""
        self._connection = open_connection(url)
        self._written = written
        self._enter = self._enter_postgres
        if isinstance(self._connection, sqlite3.Connection):
            self._enter = self._enter_sqlite
            for pragma in _SQLITE_SETTINGS:
                self._connection.execute(f"PRAGMA {pragma}")

    def write(self, entries: int) -> int:
        """Write a group of the next entries and commit; how many there were left to write."""
        new: dict[str, list[Values]] = {}
        last: dict[str, dict[Any, Values]] = {}
        count = 0
        for one in self._written:
            count += 1
            for text, rows in one.new.items():
                new.setdefault(text, []).extend(rows)
            for (text, key), row in one.last.items():
                last.setdefault(text, {})[key] = row
            if count == entries:
                break
        self._enter(new, last)
        return count

    def close(self) -> None:
        """Close the copy."""
        self._connection.close()

    def _enter_sqlite(self, new: New, last: Last) -> None:
        execute = self._connection.execute
        execute("BEGIN IMMEDIATE")
        for text, rows in new.items():
            self._connection.executemany(_once(text), rows)
        for text, replaced in last.items():
            self._connection.executemany(text, list(replaced.values()))
        execute("COMMIT")

    def _enter_postgres(self, new: New, last: Last) -> None:
        copied = {text: rows for text, rows in new.items() if len(rows) >= COPIED_FROM and '"manner"' not in text}
        cursor = self._connection.cursor()
        with self._connection.pipeline():
            cursor.execute("BEGIN")
            for text, rows in new.items():
                if text not in copied:
                    cursor.executemany(_once(text).replace("?", "%s"), rows)
            for text, replaced in last.items():
                cursor.executemany(text.replace("?", "%s"), list(replaced.values()))
            if not copied:
                cursor.execute("COMMIT")
        for text, rows in copied.items():
            self._copy(cursor, text, rows)
        if copied:
            cursor.execute("COMMIT")

    def _copy(self, cursor: Any, text: str, rows: Sequence[Values]) -> None:
        matched = _INSERT.match(text)
        with cursor.copy(f"COPY {matched[1] if matched else ''} FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)


def _once(text: str) -> str:
    """The insert as it is; a text of how balls were read is kept once, so that the copy may hold it already."""
    return f"{text} ON CONFLICT DO NOTHING" if text.startswith('INSERT INTO "manner"') else text
