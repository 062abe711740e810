"""Many rows a statement on PostgreSQL: the same rows, and the same refusals, as one statement a row would give."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import psycopg
import pytest

from ledger.store import array_rows
from ledger.store.engine import Store, open_store
from ledger.store.packed_arrays import KINDS
from ledger.store.transaction import Transaction
from ledger.store.truth_tables import TRUTH
from ledger.store.view_tables import VIEW_TABLES
from tests.stores import fresh_database

VIEWS = {table.name: table for table in VIEW_TABLES.values()}
TABLES = array_rows._column_types()
ODD = ("", "'", '"', "\\", "{}", "NULL", "null", ",", "\n", "\x01", "\N{OGHAM SPACE MARK}", "\N{GOTHIC LETTER AHSA}")
"""Texts that an array in text form would have to quote."""


@pytest.fixture(scope="module")
def served(postgres: str) -> Iterator[Store]:
    """One store for tables that each test makes for itself."""
    store = open_store(fresh_database(postgres))
    yield store
    store.close()


def _key(table: str) -> list[str]:
    if table in VIEWS:
        return list(VIEWS[table].view.key)
    return [str(column.name) for column in TRUTH.tables[table].primary_key.columns]


def _may_be_empty(table: str, column: str) -> bool:
    return VIEWS[table].types[column][1] if table in VIEWS else bool(TRUTH.tables[table].columns[column].nullable)


def _value(drawn: random.Random, kind: type) -> Any:
    if kind is int:
        return drawn.choice([0, -1, 255, 2**31, -(2**63), 2**63 - 1, drawn.getrandbits(40)])
    if kind is bool:
        return drawn.random() < 0.5
    if kind is bytes:
        return drawn.choice([b"", b"\0", b"\xff\xff\xff\xff", drawn.randbytes(40)])
    return drawn.choice(ODD) + str(drawn.getrandbits(16))


def _rows(table: str, count: int) -> list[tuple[Any, ...]]:
    """Rows of different keys; each column that may be empty is empty in some rows, every second one in all."""
    drawn = random.Random(table)
    rows: dict[tuple[Any, ...], tuple[Any, ...]] = {}
    key = _key(table)
    while len(rows) < count:
        row: dict[str, Any] = {}
        for place, (column, kind) in enumerate(TABLES[table].items()):
            empty = _may_be_empty(table, column) and (place % 2 or drawn.random() < 0.5)
            row[column] = None if empty else _value(drawn, kind)
        rows[tuple(row[column] for column in key)] = tuple(row.values())
    return list(rows.values())


def _insert(table: str, suffix: str) -> str:
    names = ", ".join(f'"{column}"' for column in TABLES[table])
    return f'INSERT INTO "{table}{suffix}" ({names}) VALUES ({", ".join("?" for _ in TABLES[table])})'  # noqa: S608  # own names


def _upsert(table: str, suffix: str) -> str:
    key = _key(table)
    others = [column for column in TABLES[table] if column not in key]
    sets = ", ".join(f'"{column}" = excluded."{column}"' for column in others)
    conflict = ", ".join(f'"{column}"' for column in key)
    return f"{_insert(table, suffix)} ON CONFLICT ({conflict}) DO {f'UPDATE SET {sets}' if sets else 'NOTHING'}"


def _make(transaction: Transaction, table: str, *suffixes: str) -> None:
    for suffix in suffixes:
        transaction.run(f'CREATE TEMPORARY TABLE "{table}{suffix}" (LIKE "{table}" INCLUDING ALL)')


def _held(transaction: Transaction, table: str) -> list[tuple[Any, ...]]:
    return sorted(transaction.rows(f'SELECT * FROM "{table}"'), key=repr)  # noqa: S608  # own names


def _row_by_row(transaction: Transaction, text: str, rows: list[tuple[Any, ...]]) -> None:
    for row in rows:
        transaction.run(text, row)


@pytest.mark.parametrize("table", sorted(TABLES))
def test_every_table_takes_many_rows_as_it_takes_each(transaction: Transaction, table: str) -> None:
    """With and without a word on conflicts, with odd texts, empty bytes, the largest numbers, and columns that are empty all along."""
    _make(transaction, table, "__one", "__plain", "__arrays")
    rows = _rows(table, 30)
    _row_by_row(transaction, _insert(table, "__one"), rows)
    assert array_rows.together_of(_insert(table, "__plain")) is not None
    transaction.run_many(_insert(table, "__plain"), rows)
    assert array_rows.together_of(_upsert(table, "__arrays")) is not None
    transaction.run_many(_upsert(table, "__arrays"), rows)
    expected = _held(transaction, f"{table}__one")
    assert 30 == len(expected)
    assert expected == _held(transaction, f"{table}__plain")
    assert expected == _held(transaction, f"{table}__arrays")


@pytest.mark.parametrize("table", sorted(VIEWS))
def test_rows_are_replaced_and_deleted_by_their_keys(transaction: Transaction, table: str) -> None:
    """What every view's own statements do to many rows is what they do to one after another."""
    view = VIEWS[table]
    rows = _rows(table, 24)
    places = [view.columns.index(column) for column in view.view.key]
    again = [
        tuple(rows[n][place] if place in places else rows[n + 12][place] for place in range(len(rows[n])))
        for n in range(12)
    ]
    gone = [tuple(row[place] for place in places) for row in rows[6:18]]
    _make(transaction, table, "__one", "__arrays")
    for text, values in ((view.upsert, rows), (view.upsert, again), (view.delete, gone)):
        _row_by_row(transaction, text("__one"), values)
        transaction.run_many(text("__arrays"), values)
        assert array_rows.together_of(text("__arrays")) is not None
    assert 12 == len(_held(transaction, f"{table}__one"))
    assert _held(transaction, f"{table}__one") == _held(transaction, f"{table}__arrays")


def test_a_key_that_comes_twice_has_its_last_row(transaction: Transaction) -> None:
    """As one after another would leave it, where the server would refuse one statement that meets a row twice."""
    rows = [("a", "first"), ("b", "only"), ("a", "last")]
    transaction.run_many(_upsert("setting", ""), rows)
    found = transaction.rows('SELECT "name", "value" FROM "setting" WHERE "name" IN (\'a\', \'b\') ORDER BY "name"')
    assert [("a", "last"), ("b", "only")] == found


@pytest.mark.parametrize("indexes", [(1, 2, 3), (0, 1, 3), (0, 0, 1), (0, 2, 1)])
def test_entries_come_one_after_the_other_however_they_are_written(
    transaction: Transaction, indexes: tuple[int, ...]
) -> None:
    """The trigger that refuses a gap sees each row of a statement with those before it."""
    rows = [(index, b"h", b"raw", 0) for index in indexes]
    # One that comes twice follows the entry before it, and is refused by its key.
    refused = psycopg.errors.UniqueViolation if len(set(indexes)) < len(indexes) else psycopg.errors.RestrictViolation
    with pytest.raises(refused, match=r"duplicate key|an entry has the next index"):
        transaction.run_many(_insert("entry", ""), rows)
    transaction.rollback()
    transaction.begin_write()
    transaction.run_many(_insert("entry", ""), [(index, b"h", b"raw", 0) for index in range(3)])
    assert [(0,), (1,), (2,)] == transaction.rows('SELECT "index" FROM "entry" ORDER BY "index"')


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("entry", (2**63, b"h", b"raw", 0)),
        ("tile", (0, 2**70, 1, b"")),
        ("request", ("nul \0", "author", 0, b"")),
        ("setting", ("name", "nul \0")),
        ("blob", ("digest", None, 0, b"")),
    ],
)
@pytest.mark.parametrize("text", [_insert, _upsert])
def test_what_no_column_holds_is_refused(transaction: Transaction, table: str, row: tuple[Any, ...], text: Any) -> None:
    """A number beyond 64 bits, a zero byte in a text, nothing where something must be: an error of the driver's tree."""
    good = _rows(table, 1)[0]
    with pytest.raises((psycopg.DataError, psycopg.IntegrityError)):
        transaction.run_many(text(table, ""), [good, row])


def test_other_statements_run_row_by_row(transaction: Transaction) -> None:
    """A table that is not of this package, and a statement without a form for many rows."""
    transaction.run('CREATE TEMPORARY TABLE "strange" ("a" int)')
    transaction.run_many('INSERT INTO "strange" ("a") VALUES (?)', [(1,), (2,), (3,)])
    transaction.run_many('UPDATE "strange" SET "a" = ? WHERE "a" = ?', [(10, 1), (20, 2)])
    transaction.run_many('DELETE FROM "strange" WHERE "a" = ?', [(3,), (10,)])
    transaction.run_many('DELETE FROM "strange" WHERE "a" = ?', [])
    assert [(20,)] == transaction.rows('SELECT "a" FROM "strange"')


@pytest.mark.parametrize("kind", [str, int])
def test_lists_of_any_length_find_what_they_name(transaction: Transaction, kind: type) -> None:
    """No, one and many texts or numbers, and numbers that only fit into a list of the driver's own making."""
    _make(transaction, "tile", "__many")
    names: list[Any] = [2**63 - 1, -1, 0, 7] if kind is int else [*ODD]
    rows = [(0, name if kind is int else 0, place, str(name).encode()) for place, name in enumerate(names)]
    transaction.run('ALTER TABLE "tile__many" DROP CONSTRAINT "tile__many_pkey"')
    transaction.run_many(_insert("tile", "__many"), rows)
    condition = transaction.dialect.any_of('"number"' if kind is int else "convert_from(\"hashes\", 'UTF8')")
    text = f'SELECT "width" FROM "tile__many" WHERE {condition} ORDER BY 1'  # noqa: S608  # own names
    for wanted in (names[:1], names[1:], names):
        expected = sorted(names.index(name) for name in wanted)
        assert expected == [width for (width,) in transaction.rows_of(text, wanted)]
    if kind is int:
        assert len(names) == len(transaction.rows_of(text, [*names, 2**70]))


def test_kinds_are_those_of_the_server(transaction: Transaction) -> None:
    """The numbers of the types are the server's own."""
    for kind in KINDS.values():
        found = transaction.row("SELECT oid::int8, typarray::int8 FROM pg_type WHERE typname = ?", (kind.name,))
        assert (kind.oid, kind.array_oid) == found
