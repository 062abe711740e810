"""Many rows a statement, for SQLite: it is stepped once for a block of rows, and lets go of the interpreter once.

A column that is empty, or the same truth value, all along a block is bound once: the driver spends more on binding such
a value than SQLite on the row's other columns. The rows and their order are those of ``executemany``.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import chain
from typing import Any

BLOCK = 16
"""Rows in one statement: with more, the groups of a quiet hour would be too small for a block."""

_ROW_BY_ROW = re.compile(r"(INSERT INTO .* VALUES )\(\?(?:, \?)*\)([^?]*)", re.DOTALL)


def insert_in_blocks(cursor: sqlite3.Cursor, text: str, rows: Sequence[Sequence[Any]]) -> None:
    """``executemany``; an INSERT in whole blocks as far as there are any."""
    whole = len(rows) - len(rows) % BLOCK if _ROW_BY_ROW.fullmatch(text) else 0
    for start in range(0, whole, BLOCK):
        columns = list(zip(*rows[start : start + BLOCK], strict=True))
        once = tuple([_is_bound_once(column) for column in columns])
        values = chain.from_iterable(
            [column[:1] if alike else column for column, alike in zip(columns, once, strict=True)]
        )
        cursor.execute(_block_statement(text, once), tuple(values))
    if whole < len(rows):
        cursor.executemany(text, rows[whole:])


def _is_bound_once(column: Sequence[Any]) -> bool:
    first = column[0]
    return (first is None or first is True or first is False) and column.count(first) == BLOCK


# About one shape a table: rows of one view mostly lack the same columns.
@lru_cache(maxsize=64)
def _block_statement(text: str, once: tuple[bool, ...]) -> str:
    """The statement for a block: parameters are numbered column by column, one for a column that is bound once."""
    matched = _ROW_BY_ROW.fullmatch(text)
    before, after = ("", "") if matched is None else matched.groups()
    rows = zip(*_numbers(once), strict=True)
    return before + ", ".join(f"({', '.join(f'?{number}' for number in row)})" for row in rows) + after


def _numbers(once: Sequence[bool]) -> Iterator[Sequence[int]]:
    first = 1
    for alike in once:
        yield [first] * BLOCK if alike else range(first, first + BLOCK)
        first += 1 if alike else BLOCK
