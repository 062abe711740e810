"""Rows of many tables that go to PostgreSQL as one statement: what it is, when it is prepared, and what undoes that."""

from __future__ import annotations

from typing import Any

import psycopg
import pytest

from ledger.errors import LedgerError
from ledger.line.submission import Submission
from ledger.store import gathered
from ledger.store.array_rows import together_of
from ledger.store.engine import Store, open_store
from ledger.store.gathered import one_statement
from ledger.store.rebuild import rebuild_views
from ledger.store.transaction import Transaction
from tests.contracts.statement_record import recorded
from tests.plant import begun, new_writer, opening, registration
from tests.stores import fresh_database

SETTING = 'INSERT INTO "setting" ("name", "value") VALUES (?, ?)'
REQUEST = 'INSERT INTO "request" ("key", "author", "index", "digest") VALUES (?, ?, ?, ?)'
HEAD = 'UPDATE "head" SET "size" = ?, "recorded_ms" = ? WHERE "id" = 1'
PREPARED = "SELECT count(*)::int8 FROM pg_prepared_statements WHERE name LIKE 'pourbook%'"


def put(transaction: Transaction, name: str) -> None:
    """A row in each of two tables, and the head's."""
    transaction.put_many(SETTING, [(name, "1")])
    transaction.put_many(REQUEST, [(name, "an-author", 0, b"digest")])
    transaction.put_many(HEAD, [(0, 7)])
    transaction.settle()


def prepared(transaction: Transaction) -> int:
    """How many statements of ours stand prepared."""
    found = transaction.row(PREPARED)
    assert found is not None
    return int(found[0])


def test_all_but_the_last_part_have_a_name() -> None:
    """A part alone is the statement itself."""
    parts = [part for text in (SETTING, HEAD) if (part := together_of(text)) is not None]
    assert one_statement(parts[1:]) == (
        'UPDATE "head" SET ("size", "recorded_ms") = (SELECT * FROM unnest(%s::int8[], %s::int8[])) WHERE "id" = 1'
    )
    first = 'INSERT INTO "setting" ("name", "value") SELECT * FROM unnest(%s::text[], %s::text[])'
    assert one_statement(parts) == " ".join([f"WITH w0 AS ({first})", one_statement(parts[1:])])


def test_a_statement_that_comes_again_is_prepared_until_the_driver_drops_it(transaction: Transaction) -> None:
    """The driver may drop all that is prepared then, as it does where it prepared any: the next runs are as good."""
    for number in range(8):
        put(transaction, f"a{number}")
    for driver_prepares in (False, True):
        assert 1 == prepared(transaction)
        for _ in range(7 if driver_prepares else 0):
            transaction.rows('SELECT "size" FROM "head" WHERE "id" = ?', (1,))
        transaction.rollback()
        transaction.begin_write()
        assert (0 if driver_prepares else 1) == prepared(transaction)
        for number in range(8):
            put(transaction, f"a{number}")
    assert 1 == prepared(transaction)
    assert [(8,)] == transaction.rows("""SELECT count(*) FROM "setting" WHERE "name" LIKE 'a%'""")
    assert [(7,)] == transaction.rows('SELECT "recorded_ms" FROM "head"')


def test_only_so_many_are_prepared(transaction: Transaction, monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes beyond is run as it is."""
    monkeypatch.setattr(gathered, "PREPARED", 1)
    for number in range(5):
        put(transaction, f"a{number}")
        transaction.put_many(SETTING, [(f"b{number}", "1")])
        transaction.put_many(HEAD, [(0, 8)])
        transaction.settle()
    assert 1 == prepared(transaction)
    assert [(10,)] == transaction.rows("""SELECT count(*) FROM "setting" WHERE length("name") = 2""")


def test_what_was_gathered_goes_with_a_rollback(transaction: Transaction) -> None:
    """Nothing of it is written into the next transaction."""
    transaction.put_many(SETTING, [("a", "1")])
    transaction.rollback()
    transaction.begin_write()
    transaction.commit()
    assert [] == transaction.rows("""SELECT "name" FROM "setting" WHERE "name" = 'a'""")


def test_a_group_of_a_few_writes_once(postgres: str) -> None:
    """Its entry, its request, every view it changes, notes and head: one statement, and the commit after it."""
    with recorded() as found:
        store = open_store(fresh_database(postgres))
        writer = begun(store)
        found.clear()
        writer.submit(registration(1), "a-lead").result(30)
        writer.stop()
        store.close()
    writes = [text for text in found if text.startswith(("INSERT", "UPDATE", "DELETE", "WITH"))]
    # Another stores the checkpoint of the last group, as the writer stops.
    assert ["WITH", "UPDATE"] == [text.split(" ", 1)[0] for text in writes]
    tables = ("entry", "request", "fact", "unit", "serial", "measured", "setting")
    assert [name for name in tables if f'INSERT INTO "{name}"' not in writes[0]] == []
    assert 'UPDATE "head"' in writes[0]


def test_views_may_be_exchanged_and_groups_refused_between_two_groups(served: Store) -> None:
    """What was prepared for the tables of before goes to those that stand there now."""
    writer = begun(served)
    for number in range(1, 7):
        writer.submit(registration(number), "a-lead").result(30)
    with pytest.raises(LedgerError):
        writer.submit(Submission(key="again", records=registration(3).records), "a-lead").result(30)
    for number in range(7, 13):
        writer.submit(registration(number), "a-lead").result(30)
    rebuild_views(served)
    for number in range(13, 16):
        writer.submit(registration(number), "a-lead").result(30)
    writer.stop()
    with served.reading() as transaction:
        assert [(15,)] == transaction.rows('SELECT count(*) FROM "serial"')


def test_a_fault_of_the_rows_is_none_of_the_commit(postgres: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the server refuses of a group is said before its commit, whose own failures leave its outcome open."""
    store = open_store(fresh_database(postgres))
    committed: list[Any] = []
    monkeypatch.setattr(Store, "commit", lambda _store, transaction: committed.append(transaction))
    writer = new_writer(store)
    with store.writing() as transaction:
        transaction.run('ALTER TABLE "request" ADD CONSTRAINT "refused" CHECK ("key" = \'none\')')
        transaction.commit()
    writer.start()
    with pytest.raises(LedgerError, match="could not take it"):
        writer.submit(opening(), "a-lead").result(30)
    writer.stop()
    assert [] == committed
    store.close()


def test_a_connection_that_is_lost_is_told_as_lost(postgres: str, served: Store) -> None:
    """Prepared or not."""
    for runs in (0, 5):
        lost = served.transaction()
        lost.begin_write()
        for number in range(runs):
            put(lost, f"a{number}")
        (pid,) = lost.row("SELECT pg_backend_pid()::int8") or ()
        with psycopg.connect(postgres, autocommit=True) as other:
            other.execute("SELECT pg_terminate_backend(%s, 30000)", (pid,))
        with pytest.raises(psycopg.Error) as raised:
            put(lost, "b")
        assert served.dialect.is_lost(raised.value)
        lost.discard()
