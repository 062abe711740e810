"""Many rows a statement: the same rows as one statement a row would enter."""

from __future__ import annotations

import sqlite3
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.store.blocks import BLOCK, insert_in_blocks

CREATE = 'CREATE TABLE "t" ("a" INTEGER PRIMARY KEY, "b" TEXT, "c" BOOLEAN, "d" BLOB)'
INSERT = 'INSERT INTO "t" ("a", "b", "c", "d") VALUES (?, ?, ?, ?)'
UPSERT = f'{INSERT} ON CONFLICT ("a") DO UPDATE SET "b" = excluded."b", "c" = excluded."c", "d" = excluded."d"'

ROWS = st.lists(
    st.tuples(
        st.integers(0, 40),
        st.none() | st.text(max_size=3),
        st.none() | st.booleans(),
        st.none() | st.binary(max_size=3),
    ),
    max_size=3 * BLOCK + 2,
)


def _table() -> sqlite3.Cursor:
    cursor = sqlite3.connect(":memory:", isolation_level=None).cursor()
    cursor.execute(CREATE)
    return cursor


def _held(cursor: sqlite3.Cursor) -> list[Any]:
    return cursor.execute('SELECT "a", "b", "c", "d" FROM "t" ORDER BY "a"').fetchall()


@given(ROWS)
def test_blocks_enter_what_single_rows_enter(rows: list[tuple[Any, ...]]) -> None:
    """Whatever is empty or alike in a block, and with a key that comes again: the last row of it stands."""
    single, blocks = _table(), _table()
    single.executemany(UPSERT, rows)
    insert_in_blocks(blocks, UPSERT, rows)
    assert _held(single) == _held(blocks)


@pytest.mark.parametrize("rows", [BLOCK - 1, BLOCK, 2 * BLOCK + 1])
def test_columns_alike_all_along_a_block_are_entered_in_every_row(rows: int) -> None:
    """Nothing, true and false."""
    cursor = _table()
    insert_in_blocks(cursor, INSERT, [(n, None, n < BLOCK, b"x") for n in range(rows)])
    assert [(n, None, int(n < BLOCK), b"x") for n in range(rows)] == _held(cursor)


def test_another_statement_runs_row_by_row() -> None:
    """Only an INSERT of whole rows has a form for blocks."""
    cursor = _table()
    insert_in_blocks(cursor, INSERT, [(n, "x", True, b"") for n in range(2 * BLOCK)])
    insert_in_blocks(cursor, 'DELETE FROM "t" WHERE "a" = ?', [(n,) for n in range(1, 2 * BLOCK)])
    assert [(0, "x", 1, b"")] == _held(cursor)
