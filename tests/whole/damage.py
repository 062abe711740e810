"""Damage to a SQLite store, done by hand: one bit of one cell is turned over, past every trigger, and put back."""

# ruff: noqa: S608  # names come from the tables themselves

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple


class Cell(NamedTuple):
    """One column of one row; ``key`` are the row's key columns and their values."""

    table: str
    key: tuple[tuple[str, Any], ...]
    column: str

    def where(self) -> str:
        """The condition that finds the row."""
        return " AND ".join(f'"{name}" IS ?' for name, _ in self.key)

    def values(self) -> list[Any]:
        """The parameters of ``where``."""
        return [value for _, value in self.key]


def drop_triggers(path: Path) -> None:
    """Take away what keeps the truth as it was written, as someone who owns the file can."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f'DROP TRIGGER "{name}"')


def cells(path: Path, table: str, columns: Sequence[str] = ()) -> list[Cell]:
    """Every cell of a table that holds something, or those of some of its columns."""
    with closing(sqlite3.connect(path)) as connection:
        described = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
        key = [row[1] for row in described if row[5]]
        wanted = list(columns) or [row[1] for row in described]
        found: list[Cell] = []
        for column in wanted:
            names = ", ".join(f'"{name}"' for name in key)
            # NULL and the empty text hold no bit to turn over.
            rows = connection.execute(f'SELECT {names} FROM "{table}" WHERE "{column}" <> \'\' ORDER BY {names}')
            found += [Cell(table, tuple(zip(key, row, strict=True)), column) for row in rows]
        return found


@contextmanager
def flipped(path: Path, cell: Cell, bit: int) -> Iterator[str]:
    """The store with one bit of a cell turned over, ``bit`` counted modulo its length; as it was afterwards.

    Gives what was done, in words.
    """
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.text_factory = bytes
        select = f'SELECT "{cell.column}", typeof("{cell.column}") FROM "{cell.table}" WHERE {cell.where()}'
        before, kind = connection.execute(select, cell.values()).fetchone()
        after, changed = _flip(before, bit)
        value = "CAST(? AS TEXT)" if kind == b"text" else "?"
        update = f'UPDATE "{cell.table}" SET "{cell.column}" = {value} WHERE {cell.where()}'
        connection.execute(update, [after, *cell.values()])
        # A changed key column has to be found again under its new value.
        there = Cell(cell.table, tuple((n, after if n == cell.column else v) for n, v in cell.key), cell.column)
        found = there.where().replace(f'"{cell.column}" IS ?', f'"{cell.column}" IS {value}')
        try:
            yield f"{cell.table}.{cell.column} of {dict(cell.key)}: {changed}"
        finally:
            put_back = f'UPDATE "{cell.table}" SET "{cell.column}" = {value} WHERE {found}'
            assert 1 == connection.execute(put_back, [before, *there.values()]).rowcount


def flip(raw: bytes, bit: int) -> bytes:
    """The bytes with one bit turned over, ``bit`` counted modulo their length."""
    changed = bytearray(raw)
    place = bit % (8 * len(changed))
    changed[place // 8] ^= 1 << (place % 8)
    return bytes(changed)


def _flip(before: Any, bit: int) -> tuple[Any, str]:
    if isinstance(before, int):
        # Figures of a book fit into 48 bits, instants in milliseconds among them.
        place = bit % 48
        return before ^ (1 << place), f"bit {place} of {before}"
    return flip(before, bit), f"bit {bit % (8 * len(before))} of {len(before)} bytes"
