"""Entries in ranges on PostgreSQL: made before the head is there, guarded like the whole, and cheap however many there are."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import psycopg
import pytest
from sqlalchemy.engine import make_url

from ledger.application.proofs import check_book
from ledger.store.engine import Store, open_store
from ledger.store.entry_ranges import Room, entry_ranges
from ledger.store.migrations.run import upgrade
from ledger.store.service_role import grant_service
from ledger.store.writer import Writer
from tests.contracts.test_triggers import refusal
from tests.plant import ORIGIN, SIGNER, line_start, new_writer, opening, registration
from tests.stores import fresh_database

ROLE = "range_service"


@pytest.fixture
def url(postgres: str) -> str:
    """A PostgreSQL database of its own."""
    return fresh_database(postgres)


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """An empty store with ranges of 256 entries."""
    opened = open_store(url, busy_ms=5_000, entry_range=256)
    yield opened
    opened.close()


def fill(writer: Writer, first: int, count: int) -> None:
    """Enter balls, all waiting at once, so that groups are as large as they get."""
    for future in [writer.submit(registration(number), "a-engraver") for number in range(first, first + count)]:
        future.result(60)


def bounds(store: Store) -> list[tuple[int, int]]:
    """From where to where the ranges reach."""
    with store.reading() as look:
        return [(one.start, one.stop) for one in entry_ranges(look)]


def role_of(store: Store, postgres: str) -> str:
    """Make the service's role and grant it the book; the address under which it signs in."""
    with psycopg.connect(postgres, autocommit=True) as connection:
        if connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", (ROLE,)).fetchone() is None:
            connection.execute(f"CREATE ROLE {ROLE} LOGIN PASSWORD 'for-tests'")
    grant_service(store, ROLE)
    return make_url(store.url).set(username=ROLE, password="for-tests").render_as_string(hide_password=False)


def test_a_new_store_has_one_range(store: Store) -> None:
    """The first range is there before the first entry, and no other."""
    assert [(0, 256)] == bounds(store)


def test_the_next_range_is_made_in_the_last_quarter(store: Store, writer: Writer) -> None:
    """At 191 entries there is one range, at 192 there are two, and none further on is made before its time."""
    fill(writer, 0, 191 - 9)
    assert [(0, 256)] == bounds(store)
    fill(writer, 182, 1)
    assert [(0, 256), (256, 512)] == bounds(store)
    fill(writer, 183, 250)
    assert [(0, 256), (256, 512)] == bounds(store)


def test_a_group_spans_ranges(store: Store, start: Callable[..., Writer]) -> None:
    """One group of many submissions goes over the end of a range, and the whole book is right afterwards."""
    begun = start(group_limit=1_000)
    for submission in [opening(), *line_start()]:
        begun.submit(submission, "a-lead").result(30)
    fill(begun, 0, 900)
    assert bounds(store)[-1][1] > 909
    begun.stop()
    assert 909 == check_book(store, ORIGIN, [SIGNER.verifier]).entries


def test_a_writer_that_starts_late_finds_a_range(store: Store, writer: Writer, start: Callable[..., Writer]) -> None:
    """A range that could not be made in time is made when a writer starts."""
    fill(writer, 0, 190)
    writer.stop()
    with store.writing() as transaction:
        transaction.run('DROP TABLE "entry_256"')
    fill(start(), 190, 70)
    assert [(0, 256), (256, 512)] == bounds(store)


def test_only_a_few_ranges_are_made_ahead(store: Store) -> None:
    """Whoever may make the next range cannot fill the disk with empty ones."""
    with store.writing() as transaction:
        for _ in range(60):
            transaction.run("SELECT next_entry_range()")
        assert 8_192 == entry_ranges(transaction)[-1].stop


def test_a_file_has_no_ranges(tmp_path: object) -> None:
    """On SQLite there is always room, and nothing to be made."""
    store = open_store(f"sqlite:///{tmp_path}/book.db")
    room = Room()
    with store.writing() as transaction:
        room.make(transaction, 5)
        assert [] == entry_ranges(transaction)
    assert (False, False) == (room.is_due(1 << 40), room.lacks(1 << 40, 256))
    store.close()


RANGE_TAMPERING = {
    "update": 'UPDATE "entry_0" SET "bytes" = "hash" WHERE "index" = 3',
    "delete": 'DELETE FROM "entry_0"',
    "insert a gap": 'INSERT INTO "entry_256" SELECT 300, "hash", "hash", 0 FROM "entry" WHERE "index" = 3',
    "insert again": 'INSERT INTO "entry_0" SELECT "index", "hash", "hash", 0 FROM "entry" WHERE "index" = 3',
    "truncate": 'TRUNCATE "entry_0"',
    "truncate an empty one": 'TRUNCATE "entry_256"',
    "move": 'UPDATE "entry" SET "index" = "index" + 256 WHERE "index" = 3',
}


@pytest.mark.parametrize("statement", RANGE_TAMPERING.values(), ids=RANGE_TAMPERING.keys())
def test_a_range_is_guarded_like_the_whole(store: Store, writer: Writer, statement: str) -> None:
    """Whatever is refused on the entries is refused on each range of them by the same trigger or key."""
    with store.writing() as transaction:
        transaction.run("SELECT next_entry_range()")
    assert (refusal(store, statement) or "").startswith(("an entry", "entry is never emptied", "duplicate key"))


def test_a_live_range_takes_no_entry_without_bytes(store: Store, writer: Writer) -> None:
    """Only an archived range holds entries without bytes."""
    said = refusal(store, 'INSERT INTO "entry" SELECT "index" + 1, "hash", NULL, 0 FROM "entry" WHERE "index" = 8')
    assert "null value" in (said or "")


def test_the_service_makes_ranges_and_has_no_right_on_them(store: Store, writer: Writer, postgres: str) -> None:
    """The service's role serves over the end of a range, and reaches no range but through the whole."""
    writer.stop()
    served = open_store(role_of(store, postgres))
    own = new_writer(served)
    own.start()
    fill(own, 0, 300)
    own.stop()
    served.close()
    assert [(0, 256), (256, 512)] == bounds(store)
    address = make_url(role_of(store, postgres)).set(drivername="postgresql").render_as_string(hide_password=False)
    allowed = []
    with psycopg.connect(address, autocommit=True) as connection:
        for verb in (
            'SELECT * FROM "{}"',
            'INSERT INTO "{}" SELECT * FROM "entry"',
            'UPDATE "{}" SET "recorded_ms" = 0',
            'DELETE FROM "{}"',
            'TRUNCATE "{}"',
            'ALTER TABLE "entry" DETACH PARTITION "{}"',
            "SELECT guard_entry_range('\"{}\"')",
        ):
            for name in ("entry_0", "entry_256"):
                try:
                    connection.execute(verb.format(name))
                except psycopg.errors.InsufficientPrivilege:
                    continue
                allowed.append(verb.format(name))
    assert [] == allowed


def test_an_earlier_store_becomes_one_of_ranges(url: str, postgres: str) -> None:
    """The table of an earlier store is the first range, as far as its entries go; its role goes on without a grant."""
    earlier = open_store(url, migrate=False)
    upgrade(earlier.engine, earlier.dialect, "0003")
    with earlier.writing() as transaction:
        transaction.run("INSERT INTO \"setting\" VALUES ('request-secret', ?)", ("ab" * 32,))
        for index in range(300):
            transaction.run('INSERT INTO "entry" VALUES (?, ?, ?, 0)', (index, bytes(32), b"{}"))
    with psycopg.connect(postgres, autocommit=True) as connection:
        if connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", (ROLE,)).fetchone() is None:
            connection.execute(f"CREATE ROLE {ROLE} LOGIN PASSWORD 'for-tests'")
    with earlier.writing() as transaction:
        transaction.run(f'GRANT SELECT, INSERT ON "entry" TO "{ROLE}"')
        transaction.run(f'ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, UPDATE ON TABLES TO "{ROLE}"')
    upgrade(earlier.engine, earlier.dialect, entry_range=256)
    assert [(0, 512)] == bounds(earlier)
    with earlier.reading() as look:
        asked = [("entry", "SELECT"), ("entry", "INSERT"), ("entry", "UPDATE"), ("entry_0", "SELECT")]
        rights = [look.row("SELECT has_table_privilege(?, ?, ?)", (ROLE, *one)) for one in asked]
        may_make = look.row("SELECT has_function_privilege(?, 'next_entry_range()', 'EXECUTE')", (ROLE,))
    assert ([(True,), (True,), (False,), (False,)], (True,)) == (rights, may_make)
    assert "an entry is never changed" == refusal(earlier, 'UPDATE "entry_0" SET "recorded_ms" = 1')
    earlier.close()


def test_the_next_index_is_found_in_one_range(store: Store, writer: Writer) -> None:
    """The look-up of the trigger leaves all ranges but one alone, however many there are."""
    with store.writing() as transaction:
        for _ in range(20):
            transaction.run("SELECT next_entry_range()")
        transaction.run("SET LOCAL plan_cache_mode = force_generic_plan")
        transaction.run('PREPARE one(bigint) AS SELECT 1 FROM "entry" WHERE "index" = $1 - 1')
        plan = "\n".join(row[0] for row in transaction.rows("EXPLAIN (ANALYZE, COSTS OFF) EXECUTE one(7)"))
    assert ("Subplans Removed: 20" in plan, 1) == (True, plan.count("Scan using"))
