"""A large group enters its rows in stretches, which PostgreSQL works on while the next is checked: nothing else differs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import psycopg
import pytest

from ledger.errors import LedgerError
from ledger.line.submission import Submission
from ledger.store import group_rows
from ledger.store.answer import Entered
from ledger.store.engine import Store, open_store
from ledger.store.rebuild import compare_views
from ledger.store.transaction import Transaction
from ledger.store.writer import Writer
from tests.contracts.gate import in_one_group
from tests.contracts.test_cut_connections import backend_of
from tests.plant import line_start, new_writer, registration
from tests.stores import every_row, fresh_database

INTO = 'INSERT INTO "setting" ("name", "value") VALUES (?, ?)'
ENTRY = 'INSERT INTO "entry" ("index", "hash", "bytes", "recorded_ms") VALUES (?, ?, ?, ?)'


Enter = Callable[[Transaction, str, Sequence[Sequence[Any]]], None]


@pytest.fixture(params=[Transaction.send_many, Transaction.put_many], ids=["sent", "put"])
def enter(request: pytest.FixtureRequest) -> Enter:
    """Rows sent ahead of the answer, or put aside to go with others: both are there for whatever is asked next."""
    way: Enter = request.param
    return way


def mixed() -> list[Any]:
    """The line's beginning and balls after it in one group: repeated, refused and malformed ones between them."""
    balls = [registration(number) for number in range(1, 12)]
    refused = Submission(key="refused", records=registration(3).records)
    return [*line_start(), *balls[:5], registration(2), refused, *balls[5:], registration(9)]


def answers(futures: list[Any]) -> list[tuple[Any, ...]]:
    """What each waiter was told."""
    told: list[tuple[Any, ...]] = []
    for future in futures:
        error = future.exception(30)
        if error is not None:
            assert isinstance(error, LedgerError)
            told.append((type(error), str(error)))
            continue
        entered: Entered = future.result()
        told.append((entered.index, entered.repeated, entered.entry_bytes, entered.receipt))
    return told


def outcome(url: str) -> tuple[list[tuple[Any, ...]], dict[str, Any]]:
    """The answers to a mixed group, and every row of the store after it."""
    store = open_store(url)
    writers: list[Writer] = []

    def start(**options: Any) -> Writer:
        writer = new_writer(store, **options)
        writer.start()
        writers.append(writer)
        return writer

    futures, _ = in_one_group(start, mixed())
    told = answers(futures)
    for writer in writers:
        writer.stop()
    assert [] == compare_views(store)
    rows = {name: found for name, found in every_row(store).items() if name != "setting"}
    # Digests of requests are keyed with a secret of each store.
    rows["request"] = [row[:3] for row in rows["request"]]
    store.close()
    return told, rows


@pytest.mark.parametrize("stretch", [1, 2, 7])
def test_a_group_in_stretches_is_the_group_as_a_whole(
    monkeypatch: pytest.MonkeyPatch, postgres: str, stretch: int
) -> None:
    """Answers, receipts and every row are the same, with repeats and refusals among the stretches."""
    whole = outcome(fresh_database(postgres))
    monkeypatch.setattr(group_rows, "STRETCH", stretch)
    assert whole == outcome(fresh_database(postgres))
    refusals = [told for told in whole[0] if len(told) == 2]
    assert (1, 2) == (len(refusals), sum(told[1] for told in whole[0] if len(told) == 4))


def test_a_file_is_written_as_a_whole(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """SQLite works on the thread that asks it, so there is nothing to be won, and a group has no stretches."""
    url = f"sqlite:///{tmp_path / 'book.db'}"
    whole = outcome(url)
    monkeypatch.setattr(group_rows, "STRETCH", 1)
    assert whole == outcome(f"sqlite:///{tmp_path / 'another.db'}")


def test_it_is_there_for_whatever_is_asked_next(transaction: Transaction, enter: Enter) -> None:
    """A query waits for it and sees it; a statement without a form for many rows is executed at once."""
    enter(transaction, INTO, [("a", "1"), ("b", "2")])
    enter(transaction, INTO, [])
    enter(transaction, INTO, [("c", "3")])
    assert [("a", "1"), ("b", "2"), ("c", "3")] == transaction.rows(
        'SELECT "name", "value" FROM "setting" WHERE length("name") = 1 ORDER BY "name"'
    )
    transaction.run('CREATE TEMPORARY TABLE "strange" ("a" int)')
    enter(transaction, 'INSERT INTO "strange" ("a") VALUES (?)', [(1,), (2,)])
    assert [(1,), (2,)] == transaction.rows('SELECT "a" FROM "strange" ORDER BY "a"')


def test_more_than_a_connection_holds_at_once_goes_through(transaction: Transaction, enter: Enter) -> None:
    """Forty megabytes in pieces of four, none of which fits into the way there as a whole."""
    for number in range(10):
        enter(transaction, INTO, [(f"n-{number}-{row}", "x" * 40_000) for row in range(100)])
    assert (1_000, 40_000_000) == transaction.row(
        """SELECT count(*), sum(length("value"))::int8 FROM "setting" WHERE "name" LIKE 'n-%'"""
    )


@pytest.mark.parametrize(
    "ask",
    [
        lambda asked: asked.rows('SELECT "name" FROM "setting"'),
        lambda asked: asked.run_many(INTO, [("later", "1"), ("latest", "2")]),
        lambda asked: asked.commit(),
    ],
)
def test_the_first_fault_is_raised_by_whatever_is_asked_next(
    transaction: Transaction, ask: Callable[[Transaction], object], enter: Enter
) -> None:
    """A gap between entries, not that the transaction was aborted by it; taken back, the connection serves on."""
    enter(transaction, INTO, [("a", "1")])
    enter(transaction, ENTRY, [(5, b"h", b"raw", 0)])
    enter(transaction, INTO, [("b", "2")])
    with pytest.raises(psycopg.errors.RestrictViolation, match="next index"):
        ask(transaction)
    transaction.rollback()
    transaction.begin_write()
    assert [] == transaction.rows("""SELECT "name" FROM "setting" WHERE "name" IN ('a', 'b')""")
    enter(transaction, ENTRY, [(5, b"h", b"raw", 0)])
    transaction.rollback()
    transaction.begin_write()
    enter(transaction, INTO, [("a", "1"), ("b", "2")])
    transaction.commit()


def go_on(transaction: Transaction, *, sends_more: bool) -> None:
    """Send until that fails, or have done with it."""
    while sends_more:
        transaction.send_many(INTO, [("c", "3"), ("d", "4")])
    transaction.commit()


def test_a_connection_that_is_lost_meanwhile_is_told_as_lost(postgres: str) -> None:
    """Whether it goes before more is sent or before the answers are asked for; another one then serves."""
    store = open_store(fresh_database(postgres))
    for sends_more in (False, True):
        lost = store.transaction()
        lost.begin_write()
        lost.send_many(INTO, [("a", "1"), ("b", "2")])
        with psycopg.connect(postgres, autocommit=True) as other:
            other.execute("SELECT pg_terminate_backend(%s, 30000)", (backend_of(lost),))
        with pytest.raises(psycopg.OperationalError) as raised:
            go_on(lost, sends_more=sends_more)
        assert store.dialect.is_lost(raised.value)
        lost.discard()
    with store.writing() as another:
        another.send_many(INTO, [("a", "1"), ("b", "2")])
    store.close()


def test_a_number_beyond_64_bits_is_refused_before_it_is_sent(transaction: Transaction, enter: Enter) -> None:
    """As where its row goes by itself."""
    with pytest.raises(psycopg.DataError):
        enter(transaction, ENTRY, [(2**63, b"h", b"raw", 0)])


def test_stores_differ_in_whether_they_work_beside(store: Store, enter: Enter) -> None:
    """A server does, a file does not; both take what goes later."""
    assert (store.dialect.name == "postgresql") == store.dialect.works_beside
    with store.writing() as transaction:
        enter(transaction, INTO, [("a", "1"), ("b", "2")])
        assert [(2,)] == transaction.rows("""SELECT count(*) FROM "setting" WHERE "name" IN ('a', 'b')""")
