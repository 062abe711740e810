"""The connection to PostgreSQL is cut before every single statement of a write, and two writes wait for each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import psycopg
import pytest

from ledger.book.receipt import check_receipt
from ledger.errors import StoreUnavailable
from ledger.store.engine import Store, open_store
from ledger.store.head import read_head
from ledger.store.rebuild import compare_views
from ledger.store.transaction import Transaction
from tests.plant import ORIGIN, VERIFIER, begun, new_writer, registration
from tests.stores import fresh_database

WAITING = "SELECT count(*) FROM pg_locks WHERE NOT granted AND pid <> pg_backend_pid() AND pid = ANY(%s)"


def backend_of(transaction: Transaction) -> int:
    """The server's process for a connection."""
    driver: Any = transaction._connection.driver_connection
    pid: int = driver.info.backend_pid
    return pid


class Scissors:
    """Cuts a connection before its statement of a number, by the server ending it; once."""

    def __init__(self, server: str) -> None:
        """Cut nothing."""
        self._server = server
        self.left: int | None = None

    def statement(self, transaction: Transaction) -> None:
        """Called before each statement."""
        if self.left is None:
            return
        self.left -= 1
        if self.left < 0:
            self.left = None
            pid = backend_of(transaction)
            with psycopg.connect(self._server, autocommit=True) as other:
                # With a time limit the server answers once that process has gone.
                gone = other.execute("SELECT pg_terminate_backend(%s, 30000)", (pid,)).fetchone()
            assert (True,) == gone


class CutTransaction(Transaction):
    """A connection that may be cut before any of its statements."""

    def __init__(self, store: CutStore) -> None:
        """Take a connection of the store."""
        super().__init__(store.engine, store.dialect, store.archived)
        self._scissors = store.scissors

    def begin_write(self) -> None:
        """See Transaction."""
        self._scissors.statement(self)
        super().begin_write()

    def begin_group(self) -> None:
        """See Transaction."""
        self._scissors.statement(self)
        super().begin_group()

    def commit(self) -> None:
        """See Transaction."""
        self._scissors.statement(self)
        super().commit()

    def run(self, text: str, values: Sequence[Any] = ()) -> int:
        """See Transaction."""
        self._scissors.statement(self)
        return super().run(text, values)

    def run_many(self, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """See Transaction."""
        self._scissors.statement(self)
        super().run_many(text, rows)

    def send_many(self, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """See Transaction."""
        self._scissors.statement(self)
        super().send_many(text, rows)

    def put_many(self, text: str, rows: Sequence[Sequence[Any]]) -> None:
        """See Transaction."""
        self._scissors.statement(self)
        super().put_many(text, rows)

    def rows(self, text: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """See Transaction."""
        self._scissors.statement(self)
        return super().rows(text, values)

    def row(self, text: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        """See Transaction."""
        self._scissors.statement(self)
        return super().row(text, values)


class CutStore(Store):
    """A store that gives such connections."""

    def __init__(self, inner: Store, scissors: Scissors) -> None:
        """Share the pool of ``inner``."""
        super().__init__(inner.engine, inner.dialect)
        self.scissors = scissors

    def transaction(self) -> Transaction:
        """A connection that may be cut."""
        return CutTransaction(self)


@pytest.mark.usefixtures("stretch")
def test_a_connection_may_be_cut_before_any_statement(postgres: str) -> None:
    """Cut before the first, the second, ... the last statement of a group, sent ahead or not, COMMIT among them: one entry,
    answered once.
    """
    store, scissors = open_store(fresh_database(postgres)), Scissors(postgres)
    begun(store).stop()
    writer = new_writer(CutStore(store, scissors))
    writer.start()
    for number in range(200):
        scissors.left = number
        entered = writer.submit(registration(number), "a-engraver").result(60)
        assert (9 + number, False) == (entered.index, entered.repeated)
        check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
        if scissors.left is not None:
            break
    scissors.left = None
    writer.stop()
    # Begin, head, needs, entry, request, tiles, views, head, commit: each of them was cut.
    assert 9 < number < 199
    assert [] == compare_views(store)
    store.close()


def test_two_writes_that_wait_for_each_other_are_parted(postgres: str) -> None:
    """A deadlock ends for the writer with an answer: send it again; then the same key is entered."""
    store = open_store(fresh_database(postgres), busy_ms=10_000)
    writer = begun(store)
    other = store.transaction()
    other.begin_write()
    # The writer is the one to look for deadlocks, so it is the one that gives way.
    other.run("SET LOCAL deadlock_timeout = '10min'")
    other.run("SET LOCAL lock_timeout = '10min'")
    other.run("SET LOCAL idle_in_transaction_session_timeout = 0")
    other.run('LOCK TABLE "entry" IN EXCLUSIVE MODE')
    waiting = writer.submit(registration(1), "a-engraver")
    held = writer._committer._transaction
    assert held is not None
    pid = backend_of(held)
    with psycopg.connect(postgres, autocommit=True) as watcher:
        while watcher.execute(WAITING, ([pid],)).fetchone() == (0,):
            assert not waiting.done()
    read_head(other, lock=True)
    error = waiting.exception(60)
    other.rollback()
    other.close()
    assert isinstance(error, StoreUnavailable)
    assert isinstance(error.__cause__, psycopg.errors.DeadlockDetected | psycopg.errors.LockNotAvailable)
    assert 9 == writer.submit(registration(1), "a-engraver").result(30).index
    writer.stop()
    assert [] == compare_views(store)
    store.close()


@pytest.mark.parametrize("state", ["40001", "40P01"])
def test_failures_of_order_are_not_taken_for_a_refusal(state: str) -> None:
    """Serialization failure and deadlock are told apart from what a submission did wrong: both may be sent again."""
    from ledger.store.dialect import Postgres  # noqa: PLC0415  # beside the one test that asks it

    error = psycopg.errors.lookup(state)("as the server says it")
    assert Postgres().is_lost(error) != Postgres().is_busy(error)
