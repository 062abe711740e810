"""One store a test, on each database; and a book with its line begun."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.store import group_rows
from ledger.store.engine import Store, open_store
from ledger.store.transaction import Transaction
from ledger.store.writer import Writer
from tests.plant import line_start, new_writer, opening
from tests.stores import fresh_database, fresh_file, postgres_server


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of this run's PostgreSQL server."""
    with postgres_server() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty store."""
    if request.param == "sqlite":
        return fresh_file(tmp_path)
    return fresh_database(request.getfixturevalue("postgres"))


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """An empty store, its schema made."""
    opened = open_store(url, busy_ms=5_000)
    yield opened
    opened.close()


@pytest.fixture
def served(postgres: str) -> Iterator[Store]:
    """An empty store of PostgreSQL."""
    opened = open_store(fresh_database(postgres))
    yield opened
    opened.close()


@pytest.fixture
def transaction(served: Store) -> Iterator[Transaction]:
    """A write on it, taken back where it was not committed."""
    begun = served.transaction()
    begun.begin_write()
    yield begun
    begun.close()


@pytest.fixture
def start(store: Store) -> Iterator[Callable[..., Writer]]:
    """Starts writers on the store, and stops them at the end."""
    writers: list[Writer] = []

    def started(*, on: Store = store, known: bytes | None = None, **options: Any) -> Writer:
        writer = new_writer(on, **options)
        writer.start(known)
        writers.append(writer)
        return writer

    yield started
    for writer in writers:
        writer.stop()


@pytest.fixture
def writer(start: Callable[..., Writer]) -> Writer:
    """A writer on a book whose line has begun: entry 0, and all up to a shell lot."""
    begun = start()
    for submission in [opening(), *line_start()]:
        begun.submit(submission, "a-lead").result(30)
    return begun


@pytest.fixture(params=[group_rows.STRETCH, 1], ids=["whole", "ahead"])
def stretch(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Entries of a stretch: small groups go as a whole, or each entry is sent ahead."""
    monkeypatch.setattr(group_rows, "STRETCH", request.param)
    size: int = request.param
    return size
