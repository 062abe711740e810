"""A book of entries alone: a valid chain, tree, tiles, head and checkpoint, of as many entries as one wants.

Entries, hashes, frontier and tiles are made by the product's own functions; what is left out is what a submission goes
through before and beside: no checks, no used keys, and no rows of views but those of entry 0.  So chain, tree, tiles and
checkpoint are those of a book, `pourbook verify book` would miss the used keys, and nothing that asks a view is measured.
"""

from __future__ import annotations

import hashlib
import time
from typing import NamedTuple

import msgspec

from ledger.application.creating import create_book
from ledger.application.pourbook import fresh_salts
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import assemble_entry, entry_hash
from ledger.book.instant import Instant, format_instant
from ledger.line.submission import Submission, seal_submission
from ledger.store.book_tail import BookTail, load_tail
from ledger.store.engine import Store, open_store
from ledger.store.head import Head, read_head, write_head
from ledger.store.tiles import store_tiles
from ledger.store.transaction import Transaction
from ops.bench.books import tell
from ops.bench.plant import ORIGIN, SIGNERS
from ops.bench.storage import Storage

TOGETHER = 5_000
"""Entries in one transaction."""

_ENTRY = 'INSERT INTO "entry" ("index", "hash", "bytes", "recorded_ms") VALUES (?, ?, ?, ?)'
_AUTHOR = "a-0000000000000001"
_NUMBER = b"000000000"
"""Stands in the key of the one submission that is said, in the place of the entry's number."""


class _Template(NamedTuple):
    """What is said in every entry but for its number, as canonical bytes before and after it."""

    before: bytes
    after: bytes


def entries_book(storage: Storage, entries: int) -> str:
    """The address of a book of that many entries; made if it is not there yet, in some minutes for ten million (4 GB)."""
    kept = storage.folder / f"entries-{entries}"
    if (kept / "made").exists():
        return storage.find(kept)
    url, began = storage.fresh(kept), time.perf_counter()
    create_book(url, origin=ORIGIN, plant="Measured", signers=SIGNERS, keeper="Keeper", serial_key=bytes(32))
    store = open_store(url)
    try:
        transaction = store.transaction()
        _fill(transaction, entries, began)
        transaction.close()
        if storage.name == "postgresql":
            _analyse(store)
    finally:
        store.close()
    storage.settle(kept)
    (kept / "made").write_text(f"{time.perf_counter() - began:.0f} s\n", "utf-8")
    return url


def _fill(transaction: Transaction, entries: int, began: float) -> None:
    transaction.begin_read()
    tail, said = load_tail(transaction, read_head(transaction)), _template()
    transaction.rollback()
    while tail.head.size < entries:
        stop = min(entries, tail.head.size + TOGETHER)
        transaction.begin_write()
        tail = _append(transaction, tail, said, stop)
        transaction.commit()
        tell(f"book of {entries} entries", stop, entries, began)


def _append(transaction: Transaction, tail: BookTail, said: _Template, stop: int) -> BookTail:
    """Enter the next entries up to ``stop`` with their tiles, the head and its checkpoint."""
    head, hashes = tail.head, list[bytes]()
    previous, rows = head.last_hash, []
    recorded_at = format_instant(Instant(head.recorded_ms, 0))
    for index in range(head.size, stop):
        raw = assemble_entry(
            book=ORIGIN, index=index, prev=previous.hex(), recorded_at=recorded_at, author=_AUTHOR,
            said_bytes=b"%b%09d%b" % (said.before, index, said.after), breaches=[],
        )  # fmt: skip
        previous = entry_hash(raw)
        hashes.append(previous)
        rows.append((index, previous, raw, head.recorded_ms))
    frontier, tiles = tail.append(hashes)
    transaction.run_many(_ENTRY, rows)
    store_tiles(transaction, tiles)
    note = sign_checkpoint(ORIGIN, stop, frontier.root(), [SIGNERS.checkpoint])
    after = Head(stop, previous, frontier.to_bytes(), head.recorded_ms, note)
    write_head(transaction, after)
    return BookTail(after, frontier, tail.edge)


def _template() -> _Template:
    """One shift check of a gauge, sealed as any submission is, cut where its number stands."""
    record = {
        "kind": "gauge-checked",
        "at": "2026-01-05T06:00:00.000+00:00",
        "gauge": "G1",
        "master": "M1",
        "good": True,
    }
    submission = msgspec.convert({"key": f"k-{_NUMBER.decode()}", "records": [record]}, Submission)
    before, _, after = seal_submission(ORIGIN, submission, fresh_salts).said.partition(_NUMBER)
    return _Template(before, after)


def _analyse(store: Store) -> None:
    with store.writing() as transaction:
        transaction.run("ANALYZE")


def number_in(book: int, question: int) -> int:
    """A number below ``book`` for a question: the same in each run, and spread over all of them."""
    return int.from_bytes(hashlib.sha256(b"%d of %d" % (question, book)).digest()[:8], "big") % book
