"""One view as a table: its columns, and the statements that make it and write and read its rows.

Text, whole numbers, booleans and bytes; a primary key; one index for each further column that rows are asked by.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple, Union, get_args, get_origin, get_type_hints

import msgspec
from sqlalchemy import Boolean, Column, Dialect, LargeBinary, MetaData, Table, Text
from sqlalchemy.schema import CreateTable

from ledger.line.rows import Row
from ledger.line.views import View
from ledger.store.dialect import quoted
from ledger.store.whole_numbers import BIG

_TEXT = Text().with_variant(Text(collation="C"), "postgresql")
"""Text in byte order, as SQLite has it: cheaper to index, and the same order on both."""

COUNTED_WITH: dict[tuple[str, str], tuple[str, ...]] = {
    ("unit", "lot"): ("state", "away", "grade"),
    ("lot", "stage"): ("began_ms",),
    ("gauge_use", "used"): ("lot", "unit", "at_ms"),
}
"""Columns that stand in an index beside the one asked by: the balls of many lots are counted from it alone, in its order,
and the newest lots of a stage are read from its end."""


class FurtherIndex(NamedTuple):
    """An index beside those by which a check asks: its columns, and which rows are in it (all, where nothing is said).

    A query must say ``where`` in the same words to be answered from it.
    """

    name: str
    columns: tuple[str, ...]
    where: str = ""


MARKED = '"late" OR "doubtful" OR "body" <> \'\''
"""Facts with something to be told of them: late, doubtful, or corrected."""

CORRECTED = "\"body\" <> ''"
"""Facts that were corrected or withdrawn."""

OPEN, RECALLING = '"open"', '"open" AND "recall"'
"""Holds that stand, and those of them that recall."""

FURTHER: dict[str, tuple[FurtherIndex, ...]] = {
    "fact": (FurtherIndex("marked", ("address",), MARKED), FurtherIndex("corrected", ("index",), CORRECTED)),
    "erased_field": (FurtherIndex("entry", ("entry",)),),
    "hold": (FurtherIndex("open", ("hold",), OPEN), FurtherIndex("recalling", ("hold",), RECALLING)),
    "claim": (
        FurtherIndex("opened_ms", ("opened_ms", "claim")),
        FurtherIndex("state", ("state", "opened_ms", "claim")),
    ),
}
"""By view, for pages and figures over the whole book, so that they cost what they show and not what there is."""

_TYPES: dict[type, Any] = {str: _TEXT, int: BIG, bool: Boolean(), bytes: LargeBinary()}


class ViewTable:
    """One view as a table: its columns in order, and how a row becomes a tuple and back.

    Here every field of the row is a column; a view that keeps its rows otherwise has a class of its own.
    """

    def __init__(self, view: View, fields: Sequence[str] | None = None, **others: tuple[type, bool]) -> None:
        """Read columns and types from the row class; or from some ``fields`` of it, and ``others``: type, may be empty."""
        self.view = view
        self.name = view.table
        hints = get_type_hints(view.row)
        names = view.row.__struct_fields__ if fields is None else fields
        self.types: dict[str, tuple[type, bool]] = {name: _column_type(hints[name]) for name in names} | others
        self.columns: tuple[str, ...] = tuple(self.types)
        self._booleans = tuple(place for place, name in enumerate(self.columns) if self.types[name][0] is bool)
        self.to_tuple: Callable[[Row], tuple[Any, ...]] = msgspec.structs.astuple
        self._upserts: dict[str, str] = {}

    def shown(self, alias: str, suffix: str = "") -> list[str]:  # noqa: ARG002  # a view with a class of its own needs it
        """What `to_row` is made from, the key first, where ``alias`` stands for the table in a query."""
        return [f"{alias}.{quoted(name)}" for name in self.columns]

    def to_row(self, values: Sequence[Any]) -> Row:
        """The row of what is `shown`, in that order. SQLite keeps booleans as 0 and 1."""
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
        asked = [
            FurtherIndex(column, (column, *COUNTED_WITH.get((self.name, column), ()))) for column in self.indexed()
        ]
        return [
            f"CREATE INDEX {quoted(f'ix_{self.name}_{name}_{tag}')} ON {quoted(self.name + suffix)} "
            f"({', '.join(map(quoted, columns))}){f' WHERE {where}' if where else ''}"
            for name, columns, where in (*asked, *FURTHER.get(self.name, ()))
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

    def writes(self, rows: Sequence[Row], suffix: str = "") -> Iterator[tuple[str, list[tuple[Any, ...]]]]:
        """Statements, each with its parameters, that enter rows or replace those with their keys."""
        yield self.upsert(suffix), [self.to_tuple(row) for row in rows]

    def select(self, condition: str, suffix: str = "") -> str:
        """What is `shown` of the rows that meet a condition."""
        table = quoted(self.name + suffix)
        return f"SELECT {', '.join(self.shown(table, suffix))} FROM {table} WHERE {condition}"

    def compared(self, suffix: str = "") -> str:
        """All columns of the rows that must be the same in every fold of the same entries."""
        return f"SELECT {', '.join(map(quoted, self.columns))} FROM {quoted(self.name + suffix)}"


def _column_type(hint: Any) -> tuple[type, bool]:
    if get_origin(hint) in (Union, types.UnionType):
        kinds = [member for member in get_args(hint) if member is not types.NoneType]
        if len(kinds) == 1:
            return kinds[0], True
    if hint in _TYPES:
        return hint, False
    message = f"unreachable: no column type for {hint}"
    raise TypeError(message)
