"""What a PostgreSQL server is asked before a book is kept on it, and what it does for writers that stand still."""

from __future__ import annotations

from collections.abc import Iterator

import psycopg
import pytest

from ledger.errors import StoreUnavailable
from ledger.store.engine import Store, open_store
from ledger.store.head import Head, read_head
from ledger.store.transaction import Transaction
from tests.plant import line_start, new_writer, opening
from tests.stores import fresh_database, open_impatient, postgres_server

BUSY_MS = 2_000


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """A server of one's own, since its settings are changed."""
    with postgres_server() as address:
        yield address


def _open_for_ever(server: str) -> None:
    """The server takes new settings up between two statements: a connection asks until it has."""
    while True:
        open_store(fresh_database(server)).close()


@pytest.mark.parametrize("setting", ["fsync", "full_page_writes", "synchronous_commit"])
def test_a_server_that_could_lose_an_entry_is_refused(server: str, setting: str) -> None:
    """Each setting that may lose what was acknowledged is named, with the value that mends it."""
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"ALTER SYSTEM SET {setting} = off")
        connection.execute("SELECT pg_reload_conf()")
    try:
        with pytest.raises(StoreUnavailable, match="could lose what it has acknowledged") as refused:
            _open_for_ever(server)
        assert f"set {setting} = on" == refused.value.mend
    finally:
        with psycopg.connect(server, autocommit=True) as connection:
            connection.execute(f"ALTER SYSTEM RESET {setting}")
            connection.execute("SELECT pg_reload_conf()")


def _holding_the_head(store: Store) -> tuple[Transaction, Head]:
    """A transaction that has the head and a change in it; a busy machine may cut it off before it is there."""
    while True:
        paused = store.transaction()
        paused.begin_write()
        try:
            held = read_head(paused, lock=True)
            paused.run('UPDATE "head" SET "size" = "size" + 1')
        except store.dialect.errors:
            paused.discard()
        else:
            return paused, held


def test_a_writer_that_stands_still_does_not_stop_the_others(server: str) -> None:
    """A process paused while it holds the head is cut off by the server; another writes on, and what it held is gone."""
    store = open_impatient(fresh_database(server), BUSY_MS)
    first = new_writer(store)
    first.start()
    first.submit(opening(), "a-lead").result(30)
    first.stop()
    paused, held = _holding_the_head(store)
    others = new_writer(store)
    others.start()
    entered = [others.submit(submission, "a-lead").result(30).index for submission in line_start()]
    others.stop()
    assert list(range(held.size, held.size + len(entered))) == entered
    with pytest.raises(store.dialect.errors) as cut_off:
        paused.commit()
    assert store.dialect.is_lost(cut_off.value)
    paused.discard()
    store.close()
