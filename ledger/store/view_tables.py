"""The views as tables, made from `ledger.line.views.VIEWS`, and the statements that write and read their rows.

Text, whole numbers and booleans; a primary key; one index for each further column that rows are asked by.  A view may
be built beside the standing one under a suffix, then take its place.
"""

from __future__ import annotations

import hashlib
import types
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

import msgspec
from sqlalchemy import Boolean, Column, Dialect, MetaData, Table, Text
from sqlalchemy.schema import CreateTable

from ledger.line.rows import Row
from ledger.line.views import VIEWS, View
from ledger.store.dialect import quoted
from ledger.store.truth_tables import BIG

FOLD = 7
"""Raised whenever the same entries give other rows than before, so that stored views are made anew."""

BESIDE = "__beside"
"""Suffix of a view that is being built beside the standing one."""

BEFORE = "__before"
"""Suffix of a view whose place another has taken, until it is dropped."""

CHECK = "__check"
"""Suffix of a temporary view that a check of the book fills."""

_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
"""Text in byte order, as SQLite has it: cheaper to index, and the same order on both."""

COUNTED_WITH: dict[tuple[str, str], tuple[str, ...]] = {
    ("unit", "lot"): ("state", "away"),
    ("lot", "stage"): ("began_ms",),
    ("gauge_use", "used"): ("lot", "unit", "at_ms"),
}
"""Columns that stand in an index beside the one asked by: the balls of many lots are counted from it alone, in its order,
and the newest lots of a stage are read from its end."""

_TYPES: dict[type, Any] = {str: _TEXT, int: BIG, bool: Boolean()}


class ViewTable:
    """One view as a table: its columns in order, and how a row becomes a tuple and back."""

    def __init__(self, view: View) -> None:
        """Read columns and types from the row class."""
        self.view = view
        self.name = view.table
        self.columns: tuple[str, ...] = view.row.__struct_fields__
        hints = get_type_hints(view.row)
        self.types: dict[str, tuple[type, bool]] = {name: _column_type(hints[name]) for name in self.columns}
        self._booleans = tuple(place for place, name in enumerate(self.columns) if self.types[name][0] is bool)
        self.to_tuple: Callable[[Row], tuple[Any, ...]] = msgspec.structs.astuple
        self._upserts: dict[str, str] = {}

    def to_row(self, values: Sequence[Any]) -> Row:
        """The row of stored values in column order. SQLite keeps booleans as 0 and 1."""
        if self._booleans:
            values = list(values)
            for place in self._booleans:
                values[place] = bool(values[place])
        return self.view.row(**dict(zip(self.columns, values, strict=True)))

    def indexed(self) -> tuple[str, ...]:
        """The columns with an index of their own: asked by, and not the first of the key."""
        return tuple(column for column in self.view.lookups if column != self.view.key[0])

    def create(self, dialect: Dialect, suffix: str = "", *, temporary: bool = False) -> str:
        """The statement that makes the table, without indexes; a temporary one is seen by its connection alone."""
        columns = [
            Column(name, _TYPES[kind], primary_key=name in self.view.key, nullable=optional, autoincrement=False)
            for name, (kind, optional) in self.types.items()
        ]
        # Without ROWID a row is kept once, in its key's tree, and not in a second one.
        prefixes = ["TEMPORARY"] if temporary else []
        table = Table(self.name + suffix, MetaData(), *columns, prefixes=prefixes, sqlite_with_rowid=False)
        return str(CreateTable(table).compile(dialect=dialect))

    def index_statements(self, suffix: str, tag: str) -> list[str]:
        """The statements that make the table's indexes. ``tag`` makes their names, which they keep, ones not used yet."""
        return [
            f"CREATE INDEX {quoted(f'ix_{self.name}_{column}_{tag}')} ON {quoted(self.name + suffix)} "
            f"({', '.join(map(quoted, (column, *COUNTED_WITH.get((self.name, column), ()))))})"
            for column in self.indexed()
        ]

    def upsert(self, suffix: str = "") -> str:
        """The statement that enters a row or replaces the one with its key; parameters in column order."""
        written = self._upserts.get(suffix)
        if written is None:
            written = self._upserts[suffix] = self._upsert(suffix)
        return written

    def _upsert(self, suffix: str) -> str:
        names = ", ".join(map(quoted, self.columns))
        marks = ", ".join("?" for _ in self.columns)
        key = ", ".join(map(quoted, self.view.key))
        others = [name for name in self.columns if name not in self.view.key]
        sets = ", ".join(f"{quoted(name)} = excluded.{quoted(name)}" for name in others)
        return (
            f"INSERT INTO {quoted(self.name + suffix)} ({names}) VALUES ({marks}) "
            f"ON CONFLICT ({key}) DO {f'UPDATE SET {sets}' if sets else 'NOTHING'}"
        )

    def delete(self, suffix: str = "") -> str:
        """The statement that removes the row with a key; parameters in key order."""
        condition = " AND ".join(f"{quoted(name)} = ?" for name in self.view.key)
        return f"DELETE FROM {quoted(self.name + suffix)} WHERE {condition}"

    def select(self, condition: str, suffix: str = "") -> str:
        """All columns of the rows that meet a condition."""
        names = ", ".join(map(quoted, self.columns))
        return f"SELECT {names} FROM {quoted(self.name + suffix)} WHERE {condition}"


def _column_type(hint: Any) -> tuple[type, bool]:
    if get_origin(hint) in (Union, types.UnionType):
        kinds = [member for member in get_args(hint) if member is not types.NoneType]
        if len(kinds) == 1:
            return kinds[0], True
    if hint in _TYPES:
        return hint, False
    message = f"unreachable: no column type for {hint}"
    raise TypeError(message)


VIEW_TABLES: dict[type[Row], ViewTable] = {view.row: ViewTable(view) for view in VIEWS}


@cache
def views_digest() -> str:
    """Digest of the views' fold and shape: another one means that the stored views are of an earlier program."""
    shape = [
        (
            table.name,
            table.view.key,
            table.indexed(),
            [(name, kind.__name__, null) for name, (kind, null) in table.types.items()],
        )
        for table in VIEW_TABLES.values()
    ]
    return hashlib.sha256(repr((FOLD, shape, COUNTED_WITH)).encode()).hexdigest()
