"""A disk that is full: who waits is told so, nothing is halved, reads go on, and with room again the writer goes on."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from ledger.book.receipt import check_receipt
from ledger.errors import StoreUnavailable
from ledger.store.engine import Store, open_store
from ledger.store.reader import open_reader
from ledger.store.rebuild import compare_views
from ledger.store.writer import Writer
from tests.plant import ORIGIN, VERIFIER, begun, new_writer, registration
from tests.stores import every_row, fresh_database, fresh_file

PLENTY = 1_000_000


class SmallDisk:
    """A SQLite store whose file may not grow beyond so many pages: SQLite then says what it says on a full disk."""

    def __init__(self, url: str) -> None:
        """Room for everything as yet."""
        self.store = open_store(url, busy_ms=5_000)
        self.pages = PLENTY
        self._connections: list[Any] = []
        event.listen(self.store.engine, "connect", self._connected)
        self.store.engine.dispose()

    def fill(self) -> None:
        """Leave no page."""
        with self.store.reading() as transaction:
            found = transaction.row("PRAGMA page_count")
            assert found is not None
            self._allow(int(found[0]))

    def make_room(self) -> None:
        """Room for everything again."""
        self._allow(PLENTY)

    def _connected(self, connection: Any, _record: Any) -> None:
        self._connections.append(connection)
        self._limit(connection)

    def _allow(self, pages: int) -> None:
        self.pages = pages
        for connection in self._connections:
            with suppress(sqlite3.ProgrammingError):  # closed meanwhile
                self._limit(connection)

    def _limit(self, connection: Any) -> None:
        connection.execute(f"PRAGMA max_page_count={self.pages}").close()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    """A store on such a disk."""
    made = SmallDisk(fresh_file(tmp_path))
    yield made
    made.store.close()


def enter_until_full(writer: Writer) -> tuple[dict[int, str], int]:
    """Register balls until one is not taken: receipts of those that were, and the number of that one."""
    receipts: dict[int, str] = {}
    for number in range(1, 10_000):
        waiting = writer.submit(registration(number), "a-engraver")
        error = waiting.exception(60)
        if error is not None:
            assert isinstance(error, StoreUnavailable), repr(error)
            return receipts, number
        receipts[number] = waiting.result(0).receipt
    raise AssertionError("the store is never full")


def test_a_full_file_takes_nothing_by_halves(disk: SmallDisk) -> None:
    """The submission that finds no room changes no row; reads are answered; with room it is entered under its key."""
    writer = begun(disk.store, 100_000)
    disk.fill()
    receipts, refused = enter_until_full(writer)
    before = every_row(disk.store)
    again = writer.submit(registration(refused), "a-engraver").exception(60)
    assert (StoreUnavailable, before) == (type(again), every_row(disk.store))
    with open_reader(disk.store) as reader:
        assert 9 + len(receipts) == reader.head().size
    disk.make_room()
    entered = writer.submit(registration(refused), "a-engraver").result(30)
    assert (9 + len(receipts), False) == (entered.index, entered.repeated)
    check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
    writer.stop()
    assert [] == compare_views(disk.store)


def test_a_group_that_finds_no_room_is_told_to_each(disk: SmallDisk) -> None:
    """Of many that wait on a full store every one is answered, entered or told to send it again; none twice."""
    writer = begun(disk.store, 100_000)
    disk.fill()
    waiting = [writer.submit(registration(number), "a-engraver") for number in range(1, 200)]
    errors = [one.exception(60) for one in waiting]
    assert {StoreUnavailable} == {type(error) for error in errors if error is not None}
    disk.make_room()
    told = [writer.submit(registration(number), "a-engraver").result(30) for number in range(1, 200)]
    assert [error is None for error in errors] == [entered.repeated for entered in told]
    assert list(range(9, 9 + 199)) == sorted(entered.index for entered in told)
    writer.stop()
    assert [] == compare_views(disk.store)


def test_a_store_that_is_full_at_the_start_starts_once_there_is_room(disk: SmallDisk) -> None:
    """A writer that cannot store a missing checkpoint for want of room may fail, and leaves the book as it was."""
    writer = begun(disk.store, 100_000)
    disk.fill()
    receipts, refused = enter_until_full(writer)
    writer.stop()
    disk.make_room()
    again = new_writer(disk.store)
    again.start()
    assert 9 + len(receipts) == again.submit(registration(refused), "a-engraver").result(30).index
    again.stop()


FAULTS = {"serialization failure": "40001", "disk full": "53100", "out of memory": "53200", "shut down": "57P01"}


def _fail_by(store: Store, state: str, times: int) -> None:
    """Have the server itself fail so many INSERTs of entries; a sequence counts, which no rollback sets back."""
    with store.writing() as transaction:
        transaction.run("CREATE SEQUENCE faults")
        transaction.run(
            "CREATE FUNCTION fails() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            f"IF nextval('faults') <= {times} THEN RAISE EXCEPTION 'as told' USING ERRCODE = '{state}'; END IF; "
            "RETURN NEW; END $$"
        )
        transaction.run('CREATE TRIGGER "fails" BEFORE INSERT ON "entry" FOR EACH STATEMENT EXECUTE FUNCTION fails()')


@pytest.mark.parametrize("state", FAULTS.values(), ids=FAULTS.keys())
@pytest.mark.parametrize("times", [1, 2])
def test_a_fault_of_the_server_that_passes_costs_no_answer(postgres: str, state: str, times: int) -> None:
    """What the server could not do once or twice is done again: one entry, answered once."""
    store = open_store(fresh_database(postgres))
    writer = begun(store, 100_000)
    _fail_by(store, state, times)
    entered = writer.submit(registration(1), "a-engraver").result(60)
    check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER], ORIGIN)
    assert (9, 10) == (entered.index, writer.submit(registration(2), "a-engraver").result(60).index)
    writer.stop()
    assert [] == compare_views(store)
    store.close()


def test_a_server_whose_disk_stays_full_is_told_as_unavailable(postgres: str) -> None:
    """Who waits on a server without room is told to send it again; once there is room the same key is entered."""
    store = open_store(fresh_database(postgres))
    writer = begun(store, 100_000)
    _fail_by(store, FAULTS["disk full"], 5)
    before = every_row(store)
    error = writer.submit(registration(1), "a-engraver").exception(60)
    assert (StoreUnavailable, before) == (type(error), every_row(store))
    assert 9 == writer.submit(registration(1), "a-engraver").result(60).index
    writer.stop()
    store.close()
