"""A thread of the service never waits for a connection in vain, and one too many is told so."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest

from api.connections import connections_of
from api.delivery import Delivery
from api.parts import WORKERS
from api.settings import Settings
from ledger.application.creating import create_book
from ledger.application.signers import Signers, dossier_key_name
from ledger.errors import StoreUnavailable
from ledger.store.engine import Store, open_store
from ledger.store.reader import open_reader
from ops.commands.serve import opened
from ops.key_files import create_key_file
from tests.plant import ORIGIN
from tests.stores import fresh_database, open_impatient

TAKEN = connections_of(Settings())


@pytest.fixture
def pooled(url: str) -> Iterator[Store]:
    """A store with the connections of one service, for which nobody waits long."""
    store = open_impatient(url, 200, connections=TAKEN.own)
    yield store
    store.close()


def test_every_thread_of_the_service_has_a_connection_at_once(pooled: Store) -> None:
    """All look at the book at the same moment; one more is refused after the wait for a lock, and works once one is free."""
    together, done = threading.Barrier(TAKEN.own + 1), threading.Event()

    def look() -> int:
        with open_reader(pooled) as reader:
            together.wait(60)
            done.wait(60)
            return reader.head().size

    with ThreadPoolExecutor(TAKEN.own) as threads:
        looks = [threads.submit(look) for _ in range(TAKEN.own)]
        together.wait(60)
        with pytest.raises(StoreUnavailable, match="every connection of this process to the store is in use"):
            pooled.transaction()
        done.set()
        assert [0] * TAKEN.own == [look.result(60) for look in looks]
    with open_reader(pooled) as reader:
        assert 0 == reader.head().size


@pytest.mark.parametrize(
    ("long_reads", "own", "others"), [(0, WORKERS + 10, 0), (1, WORKERS + 9, 6), (8, WORKERS + 16, 48)]
)
def test_connections_are_counted_by_threads_and_reading_processes(long_reads: int, own: int, others: int) -> None:
    """Threads for questions, seven of their own sort, those that wait for long reads, one for the archive; three for each process that reads."""
    found = connections_of(Settings(long_reads=long_reads))
    assert (own, own + others) == found


def test_a_server_with_too_few_connections_is_refused_by_what_it_has(postgres: str) -> None:
    """The least of the limits of server, role and database counts, and is named."""
    address = fresh_database(postgres)
    store = open_store(address)
    store.check_room(TAKEN.all)
    with psycopg.connect(address, autocommit=True) as other:
        other.execute(f"ALTER DATABASE {other.info.dbname} CONNECTION LIMIT {TAKEN.all - 1}".encode())
    with pytest.raises(StoreUnavailable, match=f"expected {TAKEN.all} at least, got {TAKEN.all - 1}") as refused:
        store.check_room(TAKEN.all)
    assert "max_connections" in refused.value.mend
    store.check_room(TAKEN.all - 1)
    store.close()


def test_a_service_does_not_start_where_it_gets_too_few(postgres: str, tmp_path: Path) -> None:
    """`pourbook serve` opens its book and finds out, before it takes anything."""
    password, address = "several words of no order", fresh_database(postgres)
    (tmp_path / "password").write_text(password, encoding="utf-8")
    signers = Signers(
        create_key_file(tmp_path / "checkpoint", ORIGIN, "checkpoint", password),
        create_key_file(tmp_path / "dossier", dossier_key_name(ORIGIN), "dossier", password),
    )
    create_book(address, origin=ORIGIN, plant="Test plant", signers=signers, keeper="A keeper")
    with psycopg.connect(address, autocommit=True) as other:
        other.execute(f"ALTER DATABASE {other.info.dbname} CONNECTION LIMIT 20".encode())
    settings = Settings(
        store_url=address,
        checkpoint_key_file=str(tmp_path / "checkpoint"),
        checkpoint_password_file=str(tmp_path / "password"),
        dossier_key_file=str(tmp_path / "dossier"),
        dossier_password_file=str(tmp_path / "password"),
    )
    with pytest.raises(StoreUnavailable, match="fewer connections than one process of the service may take"):
        opened(settings, Delivery())


def test_a_file_has_no_such_limit(store: Store) -> None:
    """On SQLite a process may have as many as it likes."""
    if store.dialect.name == "sqlite":
        store.check_room(100_000)
    else:
        with pytest.raises(StoreUnavailable):
            store.check_room(100_000)
