"""Statements for many rows that go to PostgreSQL together: as parts of one WITH statement, prepared where it comes again.

A group of a few entries writes into a dozen tables; a message for each would cost more than the rows. The parts of one
statement see the store as it was before it, so none may rest on another's rows (PostgreSQL 18, section 7.8.4): those of a
group have tables of their own, or other rows of them.  They are sent with libpq itself: the driver would take a long
statement apart anew at each run.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import count
from typing import Any

from psycopg import Connection, pq

from ledger.store.array_rows import Together, columns_of, numbered, together_of
from ledger.store.sent_ahead import FAILED, error_of

PREPARED = 32
"""Statements that stay prepared on a connection; what comes beyond is planned at each run."""

_BEFORE_PREPARED = 2
"""Runs of a statement before it is prepared: most that come again come for ever."""

_STANDING = b"SELECT name FROM pg_prepared_statements"

_names = count()


class Gathered:
    """What one connection is to write at the next `settle`. Nothing else may use it before that."""

    def __init__(self, connection: Connection[Any]) -> None:
        """Nothing is gathered yet."""
        self._pgconn = connection.pgconn
        self._parts: list[Together] = []
        self._values: list[bytes | None] = []
        self._runs: dict[bytes, int] = {}
        self._prepared: dict[bytes, bytes] = {}
        self._doubtful: dict[bytes, bytes] = {}

    def put_many(self, text: str, rows: Sequence[Sequence[Any]]) -> bool:
        """Add a statement for all rows; False, with nothing done, for one that has no such form.

        Raises psycopg.errors.NumericValueOutOfRange.
        """
        part = together_of(text)
        if part is None:
            return False
        self._values += columns_of(part, rows)
        self._parts.append(part)
        return True

    def settle(self) -> None:
        """Write what was gathered. Raises psycopg.Error."""
        if self._parts:
            parts, values = tuple(self._parts), self._values
            self._parts, self._values = [], []
            self.run(parts, values)

    def run(self, parts: tuple[Together, ...], values: list[Any]) -> None:
        """Run the parts as one statement. Raises psycopg.Error."""
        text, types = _written(parts)
        if self._doubtful:
            self._look()
        formats = [pq.Format.BINARY] * len(values)
        name = self._prepared.get(text) or self._prepare(text, types)
        if name is None:
            done = self._pgconn.exec_params(text, values, types, formats, pq.Format.BINARY)
        else:
            done = self._pgconn.exec_prepared(name, values, formats, pq.Format.BINARY)
        _check(done)

    def forget(self) -> None:
        """Drop what was gathered, since its transaction was taken back. The driver may drop all that is prepared then."""
        self._parts, self._values = [], []
        self._doubtful |= self._prepared
        self._prepared = {}

    def _look(self) -> None:
        """Take over what is prepared still."""
        found = self._pgconn.exec_(_STANDING)
        _check(found)
        standing = {found.get_value(row, 0) for row in range(found.ntuples)}
        self._prepared |= {text: name for text, name in self._doubtful.items() if name in standing}
        self._doubtful = {}

    def _prepare(self, text: bytes, types: Sequence[int]) -> bytes | None:
        """The name under which the statement is prepared now; None while it is not to be."""
        if len(self._runs) > 8 * PREPARED:
            self._runs.clear()
        runs = self._runs[text] = self._runs.get(text, 0) + 1
        if runs <= _BEFORE_PREPARED or len(self._prepared) >= PREPARED:
            return None
        name = b"pourbook_%d" % next(_names)
        _check(self._pgconn.prepare(name, text, types))
        del self._runs[text]
        self._prepared[text] = name
        return name


def _check(done: pq.abc.PGresult) -> None:
    if done.status in FAILED:
        raise error_of(done)


def one_statement(parts: Sequence[Together]) -> str:
    """The text for the driver, ``%s`` for each parameter."""
    *before, last = (part.text for part in parts)
    named = ", ".join(f"w{number} AS ({text})" for number, text in enumerate(before))
    return f"WITH {named} {last}" if named else last


@lru_cache(maxsize=256)
def _written(parts: tuple[Together, ...]) -> tuple[bytes, list[int]]:
    return numbered(one_statement(parts)), [kind.array_oid for part in parts for kind in part.kinds]
