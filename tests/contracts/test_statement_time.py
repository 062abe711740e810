"""PostgreSQL cancels a statement of the service that takes too long; what may take long is not bound by that."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest

from ledger.errors import StoreUnavailable
from ledger.line.rows import Unit
from ledger.store.engine import Store, open_store
from ledger.store.long_look import open_long_reader
from ledger.store.reader import open_reader
from ledger.store.rebuild import open_check, rebuild_views
from ledger.store.writer import Writer
from tests.api.running import running
from tests.plant import line_start, new_writer, opening, registration
from tests.stores import fresh_database, open_impatient, postgres_server

LIMIT_S = 1.0
WAITED = (
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() "
    "AND state <> 'idle' AND wait_event_type IN ('Lock', 'IPC') "
    "AND clock_timestamp() - query_start > make_interval(secs => %s)"
)


@pytest.fixture
def database(postgres: str) -> str:
    """The address of an empty database."""
    return fresh_database(postgres)


@pytest.fixture
def limited(database: str) -> Iterator[Store]:
    """A store whose statements may take a moment, while locks are waited for far longer."""
    store = open_store(database, busy_ms=60_000, statement_s=LIMIT_S)
    yield store
    store.close()


@pytest.fixture
def writer(limited: Store) -> Iterator[Writer]:
    """A writer on a book whose line has begun."""
    begun = new_writer(limited)
    begun.start()
    for submission in [opening(), *line_start()]:
        begun.submit(submission, "a-lead").result(30)
    yield begun
    begun.stop()


@contextmanager
def held(url: str, *statements: str) -> Iterator[None]:
    """What these statements lock is held for the length of the block."""
    with psycopg.connect(url) as other:
        for statement in statements:
            other.execute(statement.encode())
        yield


def wait_beyond_limit(url: str, waiting: Future[Any], times: int = 3) -> None:
    """Return once the server says that a statement has waited for so many times what one may take."""
    with psycopg.connect(url, autocommit=True) as watcher:
        while watcher.execute(WAITED, (times * LIMIT_S,)).fetchone() == (0,):
            assert not waiting.done()


def test_a_reader_is_told_that_it_took_too_long(database: str, limited: Store, writer: Writer) -> None:
    """What a look waits for too long is an error of the tree, with what may be done; the next look works."""
    writer.submit(registration(1), "a-lead").result(30)
    with (
        held(database, 'LOCK TABLE "unit" IN ACCESS EXCLUSIVE MODE'),
        pytest.raises(StoreUnavailable, match=r"took too long over a statement: expected at most 1 s") as told,
        open_reader(limited) as reader,
    ):
        reader.one(Unit, "U-000001")
    assert "ask for less at once, or again when less is going on" == told.value.mend
    assert isinstance(told.value.__cause__, psycopg.errors.QueryCanceled)
    with open_reader(limited) as reader:
        assert reader.one(Unit, "U-000001") is not None


def test_a_write_beside_the_book_is_taken_back(limited: Store) -> None:
    """A statement of such a write that takes too long leaves nothing of it."""
    begun = 'INSERT INTO "setting" ("name", "value") VALUES (?, ?) RETURNING pg_sleep(60)'
    with pytest.raises(StoreUnavailable, match="took too long"), limited.writing() as transaction:
        transaction.run(begun, ("half", "done"))
    with limited.reading() as look:
        assert look.row('SELECT 1 FROM "setting" WHERE "name" = ?', ("half",)) is None


def test_a_group_that_takes_too_long_is_refused_and_the_next_one_works(database: str, writer: Writer) -> None:
    """Everybody of the group is told to send it again; the same keys are then entered, once."""
    with held(database, 'LOCK TABLE "opening" IN EXCLUSIVE MODE', 'LOCK TABLE "entry" IN EXCLUSIVE MODE'):
        told = writer.submit(registration(1), "a-lead").exception(60)
    assert isinstance(told, StoreUnavailable)
    assert isinstance(told.__cause__, psycopg.errors.QueryCanceled)
    assert "send it again with the same key" == told.mend
    entered = [writer.submit(registration(number), "a-lead").result(30) for number in (1, 2)]
    assert [(9, False), (10, False)] == [(one.index, one.repeated) for one in entered]


def test_whoever_asks_over_http_gets_a_plain_answer(postgres: str, tmp_path: Path) -> None:
    """503 with the reason and what to do, for a question and for a registration; afterwards both are answered."""
    url = fresh_database(postgres)
    with running(tmp_path, balls=1, url=url, statement_s=LIMIT_S) as service:
        with held(url, 'LOCK TABLE "unit" IN ACCESS EXCLUSIVE MODE'):
            asked = service["quality"].get("/balls/U-000001")
        assert (503, "store-unavailable") == (asked.status_code, asked.json()["code"])
        assert "again" in asked.json()["mend"]
        assert "incident" not in asked.json()
        assert 200 == service["quality"].get("/balls/U-000001").status_code


def test_long_looks_and_checks_take_as_long_as_they_do(limited: Store, writer: Writer) -> None:
    """A statement far beyond the limit comes to its end there, and the limit holds again behind it."""
    long = f"SELECT pg_sleep({2 * LIMIT_S})"
    with open_long_reader(limited) as reader:
        assert reader.transaction.row(long) is not None
    with open_check(limited) as transaction:
        assert transaction.row(long) is not None
    with pytest.raises(StoreUnavailable), limited.reading() as look:
        look.row(long)


def test_a_rebuild_waits_as_long_as_it_must(database: str, limited: Store, writer: Writer) -> None:
    """Its statements are not cancelled, however long another one holds what they need."""
    with ThreadPoolExecutor(1) as threads:
        with held(database, 'LOCK TABLE "setting" IN EXCLUSIVE MODE'):
            rebuilt = threads.submit(rebuild_views, limited)
            wait_beyond_limit(database, rebuilt)
        assert 9 == rebuilt.result(60)


def test_cleaning_after_an_erasure_takes_as_long_as_it_does(database: str, limited: Store) -> None:
    """A vacuum waits for another one of the same table; the connection has its limit again afterwards."""
    ready, cleaned = threading.Event(), Future[str]()

    def clean() -> None:
        transaction = limited.transaction()
        ready.set()
        limited.dialect.clean_erased(transaction)
        cleaned.set_result(str((transaction.row("SHOW statement_timeout") or ("",))[0]))
        transaction.close()

    thread = threading.Thread(target=clean)
    with held(database, 'LOCK TABLE "opening" IN SHARE UPDATE EXCLUSIVE MODE'):
        thread.start()
        ready.wait(30)
        wait_beyond_limit(database, cleaned)
    thread.join(60)
    assert "1s" == cleaned.result(0)


def test_a_commit_waits_for_the_standby_however_long() -> None:
    """A commit that is cut short would be acknowledged without the standby: it is not answered until the standby is there.

    Neither what a statement may take ends it nor what a group may, here four seconds.
    """
    with postgres_server() as server:
        url = fresh_database(server)
        store = open_impatient(url, 1_000, statement_s=LIMIT_S)
        writer = new_writer(store)
        writer.start()
        writer.submit(opening(), "a-lead").result(30)
        with psycopg.connect(url, autocommit=True) as other:
            other.execute("ALTER SYSTEM SET synchronous_standby_names = 'nobody'")
            other.execute("SELECT pg_reload_conf()")
            while other.execute("SHOW synchronous_standby_names").fetchone() != ("nobody",):
                pass
            entered = [writer.submit(submission, "a-lead") for submission in line_start()]
            wait_beyond_limit(url, entered[-1], 6)
            assert not entered[-1].done()
            other.execute("ALTER SYSTEM RESET synchronous_standby_names")
            other.execute("SELECT pg_reload_conf()")
        assert list(range(1, len(entered) + 1)) == [one.result(60).index for one in entered]
        writer.stop()
        store.close()
