"""Many rows a statement, for PostgreSQL: one INSERT or DELETE over arrays, instead of a message a row.

An INSERT reads its rows from ``unnest``, so it has one text, and stays prepared, whatever the number of rows.  Triggers
fire for each row, and see the rows before it.  The rows and their order are those of ``executemany``.

No COPY: while a server waits for the rows of one, none of its time limits end the statement (ProcessClientReadInterrupt
in PostgreSQL, src/backend/tcop/postgres.c), so that a process stopped there would keep the head's lock for as long as it
stands still.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from functools import lru_cache
from operator import itemgetter
from typing import Any, NamedTuple

from psycopg.errors import NumericValueOutOfRange
from sqlalchemy import Column, LargeBinary, Text

from ledger.store.packed_arrays import KINDS, ArrayKind, pack_array
from ledger.store.sent_ahead import SentAhead
from ledger.store.truth_tables import TRUTH
from ledger.store.view_tables import VIEW_TABLES

_INSERT = re.compile(
    r'INSERT INTO (?P<table>"[a-z_]+") \((?P<columns>(?:"[a-z_0-9]+"(?:, )?)+)\) VALUES \((?:\?(?:, )?)+\)'
    r"(?P<rest>(?: ON CONFLICT[^?]*)?)"
)
_DELETE = re.compile(r'DELETE FROM (?P<table>"[a-z_]+") WHERE (?P<columns>(?:"[a-z_0-9]+" = \?(?: AND )?)+)(?P<rest>)')
_UPDATE = re.compile(
    r'UPDATE (?P<table>"[a-z_]+") SET (?P<columns>(?:"[a-z_0-9]+" = \?(?:, )?)+)(?P<rest> WHERE "[a-z_0-9]+" = [0-9]+)'
)
_OVER_ROWS = {
    _INSERT: "INSERT INTO {table} ({columns}) {rows}{rest}",
    _DELETE: "DELETE FROM {table} WHERE ({columns}) IN ({rows})",
    _UPDATE: "UPDATE {table} SET ({columns}) = ({rows}){rest}",
}
"""A statement for one row, and the same over ``rows``, a query of its columns."""

_KEY = re.compile(r" ON CONFLICT \(([^)]*)\) DO UPDATE")
_NAME = re.compile(r'"([a-z_0-9]+)"')


class Together(NamedTuple):
    """A statement for many rows: its text for the driver, and how each column is packed.

    ``key``: gives the key of a row, where two rows of one key would be refused in one statement; else None.
    """

    text: str
    kinds: tuple[ArrayKind, ...]
    key: Any


def numbered(text: str) -> bytes:
    """A text for the driver as the server itself takes it: ``$1``, ``$2``... for its parameters."""
    first, *parts = text.split("%s")
    return "".join([first, *(f"${number}{part}" for number, part in enumerate(parts, 1))]).encode()


def write_in_arrays(cursor: Any, text: str, rows: Sequence[Sequence[Any]]) -> bool:
    """Execute a statement for all rows at once; False, with nothing done, for one that has no such form."""
    together = together_of(text)
    if together is None:
        return False
    cursor.execute(together.text, columns_of(together, rows))
    return True


class ArraysAhead(SentAhead):
    """Sends such statements, and waits for none."""

    def send_many(self, text: str, rows: Sequence[Sequence[Any]]) -> bool:
        """Send a statement for all rows at once; False, with nothing done, for one that has no such form."""
        together = together_of(text)
        if together is None:
            return False
        self.send(numbered(together.text), [kind.array_oid for kind in together.kinds], columns_of(together, rows))
        return True


def columns_of(together: Together, rows: Sequence[Sequence[Any]]) -> list[bytes | None]:
    """The arrays of a statement. Raises NumericValueOutOfRange."""
    if together.key is not None:
        last = dict(zip(map(together.key, rows), rows, strict=True))
        rows = rows if len(last) == len(rows) else list(last.values())
    try:
        return [_column(kind, column) for kind, column in zip(together.kinds, zip(*rows, strict=True), strict=True)]
    except (OverflowError, struct.error) as error:
        # The server's own error for a row by itself.
        raise NumericValueOutOfRange("bigint out of range") from error


def _column(kind: ArrayKind, column: Sequence[Any]) -> bytes | None:
    """The array of a column; nothing for one that is empty all along, since ``unnest`` fills shorter arrays with nulls."""
    if column[0] is None and column.count(None) == len(column):
        return None
    return pack_array(kind, column)


# The statements of every table, under each of the suffixes that views have.
@lru_cache(maxsize=1024)
def together_of(text: str) -> Together | None:
    """The form for many rows of an INSERT, of a DELETE by key, or of an UPDATE of one row; None for any other statement."""
    for form, over_rows in _OVER_ROWS.items():
        found = form.fullmatch(text)
        if found is None:
            continue
        table, names, rest = found["table"], _NAME.findall(found["columns"]), found["rest"]
        kinds = _kinds(table, names)
        if kinds is None:
            return None
        columns, rows = ", ".join(f'"{name}"' for name in names), f"SELECT * FROM {_unnested(kinds)}"
        return Together(
            over_rows.format(table=table, columns=columns, rows=rows, rest=rest), kinds, _key_of(rest, names)
        )
    return None


def _unnested(kinds: Sequence[ArrayKind]) -> str:
    return f"unnest({', '.join(f'%s::{kind.name}[]' for kind in kinds)})"


def _key_of(conflict: str, names: Sequence[str]) -> Any:
    found = _KEY.match(conflict)
    return None if found is None else itemgetter(*(names.index(name) for name in _NAME.findall(found[1])))


def _kinds(table: str, names: Sequence[str]) -> tuple[ArrayKind, ...] | None:
    """How the columns of a table are packed, views under any suffix; None for a table that is not of this package."""
    types = _column_types().get(table.strip('"').partition("__")[0], {})
    return tuple([KINDS[types[name]] for name in names]) if types.keys() >= set(names) else None


@lru_cache(maxsize=1)
def _column_types() -> dict[str, dict[str, type]]:
    """By table and column, the type of the values in Python."""
    truth = {
        name: {str(column.name): _type(column) for column in table.columns} for name, table in TRUTH.tables.items()
    }
    views = {view.name: {name: kind for name, (kind, _) in view.types.items()} for view in VIEW_TABLES.values()}
    return {**truth, **views}


def _type(column: Column[Any]) -> type:
    if isinstance(column.type, LargeBinary):
        return bytes
    return str if isinstance(column.type, Text) else int
