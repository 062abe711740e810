"""A book on PostgreSQL with ranges of 256 entries, and everything that is read of its entries, for tests of archives."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ledger.application.proofs import entries_tile, entry_view
from ledger.book.tiles import TILE_WIDTH
from ledger.store.engine import Store, open_store
from ledger.store.entry_search import newest_entries, these_entries
from ledger.store.long_look import open_long_reader
from ledger.store.reader import Reader, open_reader
from ledger.store.writer import Writer
from tests.plant import line_start, new_writer, opening, registration
from tests.stores import fresh_database

SIZE = 900
"""Entries of the book: three whole ranges and the beginning of a fourth."""

STOP = 512
"""Up to where such a book is archived: the third range ends within the last 256 entries."""


def open_ranged(server: str, **options: Any) -> Store:
    """An empty store with ranges of 256 entries."""
    return open_store(fresh_database(server), entry_range=256, busy_ms=5_000, **options)


def fill(writer: Writer, first: int, count: int) -> None:
    """Enter so many balls, all waiting at once."""
    for future in [writer.submit(registration(number), "a-engraver") for number in range(first, first + count)]:
        future.result(120)


def write_book(store: Store, size: int = SIZE) -> None:
    """Write a book of so many entries; its writer has stopped and the last checkpoint is stored."""
    writer = new_writer(store)
    writer.start()
    for submission in [opening(), *line_start()]:
        writer.submit(submission, "a-lead").result(30)
    fill(writer, 0, size - 9)
    writer.stop()


def _all_entries(reader: Reader) -> object:
    return list(reader.entries(0, 10_000))


def _each_entry(reader: Reader) -> object:
    return [reader.entry(index) for index in range(0, reader.head().size, 37)]


def _facts(reader: Reader) -> object:
    return [reader.facts_about(f"unit:U-{number:06d}") for number in (0, 100, 246, 247, 248, 400, 890)]


READS: dict[str, Callable[[Reader], object]] = {
    "entries in order": _all_entries,
    "single entries": _each_entry,
    "entries of many places": lambda reader: reader.entries_at([599, 3, 511, 512, 4, 255, 256]),
    "rows of a stretch": lambda reader: reader.entry_rows(200, 600),
    "entries for a page": lambda reader: newest_entries(reader.transaction, 520, 40),
    "entries of a search": lambda reader: these_entries(reader.transaction, [5, 300, 599]),
    "entry with openings": lambda reader: [entry_view(reader, index) for index in (5, 6, 300, 599)],
    "entries tiles": lambda reader: [entries_tile(reader, number, TILE_WIDTH) for number in range(2)],
    "part of a tile": lambda reader: entries_tile(reader, 1, 100),
    "hash tiles": lambda reader: [reader.hash_tile(0, number, TILE_WIDTH) for number in range(2)],
    "receipts": lambda reader: [reader.receipt(index) for index in (0, 200, 511, 512, 599)],
    "consistency": lambda reader: reader.consistency(300, 600),
    "bodies of facts": _facts,
}


def every_read(store: Store) -> dict[str, object]:
    """What each way of reading gives, of a book of at least 600 entries."""
    with open_reader(store) as reader:
        found = {name: read(reader) for name, read in READS.items()}
    with open_long_reader(store) as reader:
        found["long look"] = list(reader.entries(0, 10_000))
    return found
