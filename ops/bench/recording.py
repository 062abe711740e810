"""The rows that registrations become, as the product wrote them: what the floors write again, raw.

Recording is done on a copy of the book with one entry a commit, so each row has its entry.  A row whose key is written
again and again (the lot's account, the head, a tile's edge, a set of gauges) is kept as *last of a group*: a group writes it once.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from ledger.store.engine import Store
from ledger.store.transaction import Transaction, Values

_TABLE = re.compile(r'(?:INSERT INTO|UPDATE) "([a-z_]+)"')
_LAST = frozenset({"lot", "gauge_set", "tile", "head"})


class Written(NamedTuple):
    """One entry's rows: new ones by statement, and for statement and key the last state of what is replaced."""

    new: dict[str, list[Values]]
    last: dict[tuple[str, Any], Values]


class _Recorded(Transaction):
    """A transaction that keeps what is written through it."""

    written: list[Written]

    def begin_write(self) -> None:
        """Begin the next entry."""
        super().begin_write()
        self.written.append(Written({}, {}))

    def run(self, text: str, values: Values = ()) -> int:
        """Keep the head."""
        self._keep(text, [values])
        return super().run(text, values)

    def run_many(self, text: str, rows: Sequence[Values]) -> None:
        """Keep the rows."""
        self._keep(text, rows)
        super().run_many(text, rows)

    def _keep(self, text: str, rows: Sequence[Values]) -> None:
        found = _TABLE.match(text)
        if found is None:
            return
        written = self.written[-1]
        if found[1] not in _LAST:
            # Known to be new, so a raw insert needs no more.
            written.new.setdefault(text.partition(" ON CONFLICT")[0], []).extend(rows)
            return
        for row in rows:
            key = row[:2] if found[1] == "tile" else row[0] if found[1] != "head" else 0
            written.last[text, key] = row


class RecordingStore(Store):
    """A store whose writer's rows are kept."""

    def __init__(self, store: Store) -> None:
        """Stand for ``store``."""
        super().__init__(store.engine, store.dialect)
        self.written: list[Written] = []

    def transaction(self) -> Transaction:
        """A recording one."""
        recorded = _Recorded(self.engine, self.dialect)
        recorded.written = self.written
        return recorded

    def entries(self) -> list[Written]:
        """What each entry wrote, in order; transactions without an entry are left out."""
        return [one for one in self.written if any(text.startswith('INSERT INTO "entry"') for text in one.new)]


class RawInserts:
    """Writes recorded entries in order to a copy of the book, a group a commit, with nothing but the driver."""

    def __init__(self, path: str, written: Iterator[Written]) -> None:
        """Open the copy as the product opens its own: WAL, full flushes, the same cache; one connection."""
        self._connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        for pragma in (
            "synchronous=FULL", "foreign_keys=ON", "recursive_triggers=ON", "wal_autocheckpoint=8192",
            "cache_size=-65536", "temp_store=MEMORY",
        ):  # fmt: skip
            self._connection.execute(f"PRAGMA {pragma}")
        self._written = written

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
        execute = self._connection.execute
        execute("BEGIN IMMEDIATE")
        for text, rows in new.items():
            self._connection.executemany(_once(text), rows)
        for text, replaced in last.items():
            self._connection.executemany(text, list(replaced.values()))
        execute("COMMIT")
        return count

    def close(self) -> None:
        """Close the copy."""
        self._connection.close()


def _once(text: str) -> str:
    """The insert as it is; a text of how balls were read is kept once, so that the copy may hold it already."""
    return text.replace('INSERT INTO "manner"', 'INSERT OR IGNORE INTO "manner"', 1)
