"""Any single changed bit of what a book keeps, or hands out, is found by the checks."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import wait
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.application.proofs import check_book
from ledger.book import merkle
from ledger.book.checkpoint import check_checkpoint
from ledger.book.receipt import check_receipt
from ledger.errors import ConsistencyFailed, LedgerError, StoreDamaged, ViewMismatch
from ledger.store.engine import Store, open_store
from ledger.store.reader import open_reader
from ledger.store.view_tables import VIEW_TABLES
from tests.plant import AT, ORIGIN, SIGNER, VERIFIER, line_start, new_writer, opening, registration, said
from tests.whole.damage import Cell, cells, drop_triggers, flip, flipped

BALLS = 560
"""Enough for two full tiles of 256 leaves, and a level above them."""

TRUTH = {
    "entry": ("index", "hash", "bytes"),
    "opening": ("index", "path", "sealing", "salt", "value"),
    "tile": ("level", "number", "width", "hashes"),
    "head": ("size", "last_hash", "frontier", "recorded_ms", "checkpoint"),
}
"""What every check of a book answers for. An opening's position stands in its path, and nothing reads that column."""

FOLLOWS = {"entry": ("recorded_ms",), "request": ("key", "author", "index")}
"""What follows from the entries, as the views do. A request's digest does not: only the clear request gives it."""


def columns(tables: dict[str, tuple[str, ...]]) -> list[tuple[str, str]]:
    """Each column by table and name."""
    return [(table, name) for table, names in tables.items() for name in names]


bits = st.integers(0, 2**20 - 1)


class Book:
    """A closed book in a file without triggers, opened anew for checks."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.store: Store = open_store(f"sqlite:///{path}", migrate=False)
        self.cells = {
            (table, column): cells(path, table, [column]) for table, column in columns(TRUTH) + columns(FOLLOWS)
        }
        shown = {
            (table.name, column): cells(path, table.name, [column])
            for table in VIEW_TABLES.values()
            for column in table.columns
        }
        self.view_columns = sorted(place for place, found in shown.items() if found)
        self.cells |= shown

    def check(self, *, views: bool = False) -> None:
        """Check the whole book; raises what is wrong with it."""
        check_book(self.store, ORIGIN, [SIGNER.verifier], views=views)

    def cell(self, table: str, column: str, row: int) -> Cell:
        """One cell of a column; ``row`` is counted modulo the number of rows."""
        places = self.cells[table, column]
        return places[row % len(places)]

    def finding(self, cell: Cell, bit: int, *, views: bool = False) -> LedgerError | str:
        """What the check finds with a bit of a cell turned over; what was changed, where it finds nothing."""
        try:
            with flipped(self.path, cell, bit) as changed:
                self.check(views=views)
        except LedgerError as error:
            return error
        except sqlite3.IntegrityError:
            # The changed key is that of another row, and the database itself says so.
            return StoreDamaged("key is used twice")
        return changed


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """A book of 570 entries: a line, balls, a hold, a correction, sealed fields."""
    path = tmp_path_factory.mktemp("flips") / "book.db"
    store = open_store(f"sqlite:///{path}")
    writer = new_writer(store)
    writer.start()
    for submission in [opening(), *line_start()]:
        writer.submit(submission, "a-lead").result(30)
    wait([writer.submit(registration(number), "a-engraver") for number in range(BALLS)], 60)
    hold = {"kind": "hold-placed", "at": AT, "hold": "H1", "reason": "suspect", "node": "lot:SL-1"}
    writer.submit(said("hold", hold), "a-lead").result(30)
    withdrawn = {"kind": "correction", "at": AT, "reason": "mistyped", "changes": [{"fact": "20.1"}]}
    writer.submit(said("correct", withdrawn), "a-lead").result(30)
    writer.stop()
    store.close()
    drop_triggers(path)
    made = Book(path)
    made.check(views=True)
    yield made
    made.store.close()


@pytest.mark.parametrize(("table", "column"), columns(TRUTH))
@settings(max_examples=20)
@given(row=st.integers(0, 10**6), bit=bits)
def test_a_changed_bit_of_the_truth_is_found(book: Book, table: str, column: str, row: int, bit: int) -> None:
    """A bit of an entry, its hash, an opening, a tile or the head is not changed without the check naming it."""
    assert isinstance(book.finding(book.cell(table, column, row), bit), LedgerError)


@pytest.mark.parametrize(("table", "column"), columns(FOLLOWS))
@settings(max_examples=5)
@given(row=st.integers(0, 10**6), bit=bits)
def test_a_changed_bit_beside_the_entries_is_found(book: Book, table: str, column: str, row: int, bit: int) -> None:
    """A bit of a used key, or of when an entry was recorded, is found by the check that compares the views too."""
    assert isinstance(book.finding(book.cell(table, column, row), bit, views=True), LedgerError)


@settings(max_examples=40)
@given(place=st.integers(0, 10**6), row=st.integers(0, 10**6), bit=bits)
def test_a_changed_bit_of_a_view_is_found(book: Book, place: int, row: int, bit: int) -> None:
    """A bit of any view row is found by the check that compares the views, and told as that."""
    table, column = book.view_columns[place % len(book.view_columns)]
    assert isinstance(book.finding(book.cell(table, column, row), bit, views=True), ViewMismatch | StoreDamaged)


@settings(max_examples=60)
@given(row=st.integers(0, 10**6), bit=bits)
def test_a_changed_bit_of_a_receipt_is_found(book: Book, row: int, bit: int) -> None:
    """A receipt with one changed bit, or for an entry with one changed bit, does not pass."""
    with open_reader(book.store) as reader:
        index = row % reader.head().size
        receipt, raw = reader.receipt(index).encode(), reader.entry(index).bytes
    check_receipt(receipt, raw, [VERIFIER], ORIGIN)
    for text, entry in ((flip(receipt, bit), raw), (receipt, flip(raw, bit))):
        with pytest.raises(LedgerError):
            check_receipt(text, entry, [VERIFIER], ORIGIN)


def test_every_changed_bit_of_a_checkpoint_is_found(book: Book) -> None:
    """Of a signed checkpoint no bit at all may change: text, key name, key id, signature, line ends."""
    with open_reader(book.store) as reader:
        note = reader.head().checkpoint or b""
    check_checkpoint(note, [VERIFIER], ORIGIN)
    for bit in range(8 * len(note)):
        with pytest.raises(LedgerError):
            check_checkpoint(flip(note, bit), [VERIFIER], ORIGIN)


def test_every_changed_bit_of_a_proof_is_found(book: Book) -> None:
    """Of a consistency proof and of both roots no bit may change."""
    with open_reader(book.store) as reader:
        hashes = [entry.hash for entry in reader.entries(0, 600)]
        size, proof = len(hashes), reader.consistency(300, len(hashes))
    old, new = merkle.root(hashes[:300]), merkle.root(hashes)
    merkle.check_consistency(300, old, size, new, proof)
    for place, digest in enumerate([old, new, *proof]):
        for bit in range(256):
            wrong = [old, new, *proof]
            wrong[place] = flip(digest, bit)
            with pytest.raises(ConsistencyFailed):
                merkle.check_consistency(300, wrong[0], size, wrong[1], wrong[2:])


STARTING = [("head", name) for name in ("size", "last_hash", "frontier", "recorded_ms", "checkpoint")]


@pytest.mark.parametrize(("table", "column"), [*STARTING, ("entry", "hash"), ("entry", "bytes")])
@settings(max_examples=15)
@given(row=st.integers(1, 200), bit=bits)
def test_a_service_does_not_start_on_a_changed_end(book: Book, table: str, column: str, row: int, bit: int) -> None:
    """A changed bit in the head or in one of the last 200 entries keeps the writer from starting."""
    places = book.cells[table, column]
    cell = places[max(0, len(places) - row)]
    with flipped(book.path, cell, bit) as changed:
        writer = new_writer(book.store)
        try:
            writer.start()
        except LedgerError:
            return
        writer.stop()
    pytest.fail(f"started in spite of {changed}")
