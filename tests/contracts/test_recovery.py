"""What the writer does when the store fails it: nothing acknowledged is lost, nothing is entered twice, nobody hangs."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from ledger.book.checkpoint import sign_checkpoint
from ledger.book.receipt import check_receipt
from ledger.errors import StoreBehind, StoreDamaged, StoreError, StoreUnavailable
from ledger.store.engine import Store, open_store
from ledger.store.head import read_head
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.transaction import Transaction
from ledger.store.writer import Writer
from tests.contracts.gate import in_one_group
from tests.plant import ORIGIN, SIGNER, VERIFIER, line_start, new_writer, opening, registration
from tests.stores import fresh_database, open_impatient


class FailingStore(Store):
    """A store whose commits of groups fail as told: each fault is used up by one commit."""

    def __init__(self, inner: Store, *faults: str) -> None:
        """``before``: fails with nothing stored; ``after``: stores, then fails; ``broken``: an error nobody expects."""
        super().__init__(inner.engine, inner.dialect)
        self.faults = list(faults)
        self.commits = 0

    def commit(self, transaction: Transaction) -> None:
        """Commit, or fail."""
        self.commits += 1
        fault = self.faults.pop(0) if self.faults else ""
        if fault == "broken":
            message = "nobody expects this"
            raise RuntimeError(message)
        if fault == "before":
            raise _lost(self)
        super().commit(transaction)
        if fault == "after":
            raise _lost(self)


def _lost(store: Store) -> Exception:
    if store.dialect.name == "sqlite":
        return sqlite3.OperationalError("database disk image went away")
    import psycopg  # noqa: PLC0415  # only the PostgreSQL case needs it

    return psycopg.OperationalError("server closed the connection unexpectedly")


@pytest.mark.parametrize(
    "faults", [("after",), ("before",), ("before", "after"), ("broken",), ("broken", "before", "after")]
)
def test_an_acknowledged_entry_stands_exactly_once(
    store: Store, writer: Writer, start: Callable[..., Writer], faults: tuple[str, ...]
) -> None:
    """However the commit fails, the submission is entered once and answered with a receipt that checks."""
    writer.stop()
    failing = start(on=FailingStore(store, *faults))
    entered = failing.submit(registration(1), "a-engraver").result(30)
    check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
    after = failing.submit(registration(2), "a-engraver").result(30)
    with open_reader(store) as reader:
        assert (9, 10, 11) == (entered.index, after.index, reader.head().size)
    assert [] == compare_views(store)


def test_a_commit_that_keeps_failing_is_told_as_unavailable(
    store: Store, writer: Writer, start: Callable[..., Writer]
) -> None:
    """After a few attempts the waiter hears that the outcome is not known, and the writer goes on."""
    writer.stop()
    failing = start(on=FailingStore(store, *["before"] * 5))
    assert isinstance(failing.submit(registration(1), "a-engraver").exception(60), StoreUnavailable)
    assert 9 == failing.submit(registration(1), "a-engraver").result(30).index


def test_an_error_of_one_s_own_reaches_its_waiter(store: Store, writer: Writer, start: Callable[..., Writer]) -> None:
    """A submission that fails with an unexpected error, and again by itself, gets that error; the next one is taken."""
    writer.stop()
    failing = start(on=FailingStore(store, "broken", "broken"))
    assert isinstance(failing.submit(registration(1), "a-engraver").exception(30), RuntimeError)
    assert 9 == failing.submit(registration(1), "a-engraver").result(30).index


def test_a_lock_held_too_long_is_told_as_unavailable(url: str) -> None:
    """A waiter whose store is locked by another for too long is told so, and may send it again."""
    store = open_impatient(url, 50)
    writer = new_writer(store)
    writer.start()
    other = store.transaction()
    other.begin_write()
    read_head(other, lock=True)
    error = writer.submit(opening(), "a-lead").exception(30)
    other.rollback()
    other.close()
    again = writer.submit(opening(), "a-lead").result(30)
    writer.stop()
    store.close()
    assert (StoreUnavailable, 0) == (type(error), again.index)


def test_a_store_older_than_a_known_checkpoint_is_refused(store: Store, writer: Writer) -> None:
    """A writer does not start on a store that lacks entries which a checkpoint kept elsewhere covers."""
    writer.stop()
    later = sign_checkpoint(ORIGIN, 100, bytes(32), [SIGNER])
    with pytest.raises(StoreBehind):
        new_writer(store).start(later)


def test_a_store_with_another_history_is_refused(store: Store, writer: Writer) -> None:
    """The same size under another root is not the same book."""
    writer.stop()
    other = sign_checkpoint(ORIGIN, 5, bytes(32), [SIGNER])
    with pytest.raises(StoreDamaged):
        new_writer(store).start(other)


def test_a_store_that_goes_on_from_a_known_checkpoint_starts(
    store: Store, writer: Writer, start: Callable[..., Writer]
) -> None:
    """An earlier checkpoint of the same history is no hindrance."""
    known = writer.checkpoint
    writer.submit(registration(1), "a-engraver").result(30)
    writer.stop()
    assert 10 == start(known=known).submit(registration(2), "a-engraver").result(30).index


def test_a_writer_of_another_book_is_refused(store: Store, writer: Writer) -> None:
    """A copy under another origin cannot be written."""
    writer.stop()
    with pytest.raises(StoreError, match="another book"):
        Writer(
            store, origin="other.test", signers=[SIGNER], clock_ms=lambda: 1, salts=lambda n: [bytes(32)] * n
        ).start()


DAMAGE = {
    "an entry's byte": ("entry", 'UPDATE "entry" SET "bytes" = "hash" WHERE "index" = 4'),
    "an entry's hash": (
        "entry",
        'UPDATE "entry" SET "hash" = (SELECT "hash" FROM "entry" WHERE "index" = 1) WHERE "index" = 4',
    ),
    "a missing entry": ("entry", 'DELETE FROM "entry" WHERE "index" = 8'),
    "the last hash": ("head", 'UPDATE "head" SET "last_hash" = "frontier"'),
    "the size": ("head", 'UPDATE "head" SET "size" = "size" + 1'),
    "the frontier": ("head", 'UPDATE "head" SET "frontier" = "last_hash"'),
}


@pytest.mark.parametrize(("table", "statement"), DAMAGE.values(), ids=DAMAGE.keys())
def test_damage_at_the_end_of_the_book_is_found_at_the_start(
    store: Store, writer: Writer, table: str, statement: str
) -> None:
    """With the triggers gone and a row changed, no writer starts."""
    writer.stop()
    _drop_triggers(store, table)
    with store.writing() as transaction:
        transaction.run(statement)
    with pytest.raises(StoreDamaged):
        new_writer(store).start()


def _drop_triggers(store: Store, table: str) -> None:
    with store.writing() as transaction:
        if store.dialect.name == "sqlite":
            names: list[tuple[Any, ...]] = transaction.rows(
                "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
            )
            for (name,) in names:
                transaction.run(f'DROP TRIGGER "{name}"')
        else:
            transaction.run(f'ALTER TABLE "{table}" DISABLE TRIGGER USER')


def test_a_group_with_an_unexpected_error_is_replayed_one_by_one(store: Store, start: Callable[..., Writer]) -> None:
    """The whole line is queued as one group whose commit breaks: every submission still stands once, in order."""
    failing = FailingStore(store, "", "broken")
    futures, gate = in_one_group(lambda **options: start(on=failing, **options), line_start())
    assert list(range(1, 9)) == [future.result(0).index for future in futures]
    assert [(1, 1)] * 9 == [(report.submissions, report.entries) for report in gate.reports]


def test_a_restarted_server_costs_no_answer(postgres: str) -> None:
    """With every connection of the writer and of the pool cut by the server, the next submission and read still work."""
    import psycopg  # noqa: PLC0415  # only the PostgreSQL case needs it

    store = open_store(fresh_database(postgres))
    writer = new_writer(store)
    writer.start()
    writer.submit(opening(), "a-lead").result(30)
    with open_reader(store) as reader:
        assert 1 == reader.head().size
        name = reader.transaction.row("SELECT current_database()")
    with psycopg.connect(postgres, autocommit=True) as connection:
        connection.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", name)
    assert 1 == writer.submit(line_start()[0], "a-lead").result(30).index
    writer.stop()
    with open_reader(store) as reader:
        assert 2 == reader.head().size
    store.close()


def test_a_store_that_went_away_is_told_as_unavailable(postgres: str) -> None:
    """Where the database is gone for good every waiter is told so, and none hangs."""
    import psycopg  # noqa: PLC0415  # only the PostgreSQL case needs it

    address = fresh_database(postgres)
    store = open_store(address)
    writer = new_writer(store)
    writer.start()
    writer.submit(opening(), "a-lead").result(30)
    with psycopg.connect(postgres, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {address.split('/')[-1].partition('?')[0]} WITH (FORCE)")
    futures = [writer.submit(submission, "a-lead") for submission in line_start()]
    assert {StoreUnavailable} == {type(future.exception(60)) for future in futures}
    with pytest.raises(StoreUnavailable), open_reader(store):
        pass
    writer.stop()
    store.close()
