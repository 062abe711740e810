"""The service's own role on PostgreSQL: it does all that a service does, and the server keeps it from the rest."""

from __future__ import annotations

from pathlib import Path

import psycopg
import pytest
from sqlalchemy.engine import make_url

from ledger.application.proofs import check_book
from ledger.errors import MalformedInput, Unsupported
from ledger.store.engine import Store, open_store
from ledger.store.rebuild import rebuild_views
from ledger.store.service_role import grant_service
from ledger.store.writer import Writer
from tests.plant import ORIGIN, SIGNER, new_writer, registration
from tests.stores import fresh_database, fresh_file

ROLE = "book_service"

FORBIDDEN = [
    'UPDATE "entry" SET "recorded_ms" = 0',
    'DELETE FROM "entry"',
    'TRUNCATE "entry"',
    'DROP TRIGGER "entry_never_updated" ON "entry"',
    'ALTER TABLE "entry" DISABLE TRIGGER ALL',
    "SET session_replication_role = replica",
    'UPDATE "opening" SET "value" = "value"',
    'DELETE FROM "head"',
    'INSERT INTO "head" SELECT * FROM "head"',
    'DELETE FROM "tile"',
    'UPDATE "request" SET "index" = 0',
    'UPDATE "published" SET "published_ms" = 0',
    'DROP TABLE "entry"',
    'CREATE TABLE "other" ()',
]


@pytest.fixture
def url(postgres: str) -> str:
    """A PostgreSQL database of its own."""
    return fresh_database(postgres)


@pytest.fixture
def served(store: Store, writer: Writer, postgres: str) -> str:
    """The address under which the service's role reaches a book."""
    writer.stop()
    with psycopg.connect(postgres, autocommit=True) as connection:
        if connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", (ROLE,)).fetchone() is None:
            connection.execute(f"CREATE ROLE {ROLE} LOGIN PASSWORD 'for-tests'")
    grant_service(store, ROLE)
    return make_url(store.url).set(username=ROLE, password="for-tests").render_as_string(hide_password=False)


def test_the_role_serves_a_book(served: str) -> None:
    """It opens the store, enters balls, and checks the whole book with its views."""
    store = open_store(served)
    writer = new_writer(store)
    writer.start()
    for ball in range(1, 6):
        writer.submit(registration(ball), "a-1").result(30)
    writer.stop()
    assert 5 < check_book(store, ORIGIN, [SIGNER.verifier]).entries
    store.close()


def test_the_role_serves_views_that_the_owner_made_anew(store: Store, served: str) -> None:
    """After a rebuild by the owner nothing has to be granted again."""
    rebuild_views(store)
    again = open_store(served)
    writer = new_writer(again)
    writer.start()
    writer.submit(registration(1), "a-1").result(30)
    writer.stop()
    again.close()


def test_the_server_refuses_the_rest(served: str) -> None:
    """Whatever would change or unlock the truth is refused for want of the right, before any trigger."""
    address = make_url(served).set(drivername="postgresql").render_as_string(hide_password=False)
    allowed = []
    with psycopg.connect(address, autocommit=True) as connection:
        for statement in FORBIDDEN:
            try:
                connection.execute(statement)
            except psycopg.errors.InsufficientPrivilege:
                continue
            allowed.append(statement)
    assert [] == allowed


def test_a_file_has_no_roles(tmp_path: Path) -> None:
    """SQLite is refused, and so is a name that is none."""
    store = open_store(fresh_file(tmp_path))
    with pytest.raises(Unsupported):
        grant_service(store, ROLE)
    with pytest.raises(MalformedInput):
        grant_service(store, 'x"; DROP TABLE entry; --')
    store.close()
