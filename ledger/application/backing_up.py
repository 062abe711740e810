"""A book in one file of its own, whole and checked, and a book from such a file: what a backup and a restore do.

The file is a store like any other (SQLite) without views: a copy of the truth as one look shows it, beside which stations
go on.  It holds what the book seals and who has an account, but no private key: those are backed up by themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from ledger.application.proofs import check_book
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.instant import Instant, format_instant
from ledger.book.signing import Verifier
from ledger.errors import StoreBehind, StoreDamaged
from ledger.line.book_keys import checkpoint_terms
from ledger.line.restorations import BookRestored, HeadSeen
from ledger.line.rows import BookKey
from ledger.line.state import State
from ledger.store.book_tail import check_not_behind
from ledger.store.copying import copy_book
from ledger.store.engine import Store, open_store
from ledger.store.group_rows import store_changes
from ledger.store.reader import open_reader
from ledger.store.selections import every_row

Progress = Callable[[int, int], None]


class BookFile(NamedTuple):
    """What a book's file holds: its origin, so many entries under this root, its last checkpoint."""

    origin: str
    size: int
    root: str


def write_book_file(store: Store, path: Path, progress: Progress | None = None) -> BookFile:
    """Copy the book of ``store`` into a new file, then check that file as a whole. Raises StoreError and its kinds.

    The keys are the book's own: that says that the file is whole, not that the book is genuine.
    """
    copy = open_store(f"sqlite:///{path}")
    try:
        copied = copy_book(store, copy, progress=progress)
        with open_reader(store) as reader:
            origin = reader.setting("origin")
            rows: list[BookKey] = every_row(reader.transaction, BookKey)
        _put_keys(copy, rows)
        keys = [term.verifier for term in checkpoint_terms(rows)]
        if origin is None or not copied.size:
            raise StoreDamaged("the store holds no book", expected="at least entry 0", got=f"{copied.size} entries")
        report = check_book(copy, origin, keys, views=False)
        return BookFile(origin, report.entries, report.root)
    finally:
        copy.close()


def _put_keys(copy: Store, rows: Sequence[BookKey]) -> None:
    """The one view that a check without views reads: which key spoke for which sizes."""
    state = State()
    for row in rows:
        state.put(row)
    with copy.writing() as transaction:
        store_changes(transaction, state)


def check_book_file(path: Path, keys: Sequence[Verifier], progress: Progress | None = None) -> BookFile:
    """Check the whole book in a file under checkpoint keys that the caller trusts. Raises the first thing that is wrong."""
    store = open_store(f"sqlite:///{path}", migrate=False)
    try:
        report = check_book(store, keys[0].name, keys, views=False, progress=progress)
        return BookFile(keys[0].name, report.entries, report.root)
    finally:
        store.close()


def heads_lost(path: Path, origin: str, notes: Sequence[bytes]) -> list[HeadSeen]:
    """Of checkpoints known elsewhere, signatures checked by the caller, those that lie ahead of the book in a file.

    Raises StoreDamaged for one that shows another history.
    """
    lost: set[tuple[int, str]] = set()
    store = open_store(f"sqlite:///{path}", migrate=False)
    try:
        with open_reader(store) as reader:
            for note in notes:
                try:
                    check_not_behind(reader.transaction, reader.head(), origin, note)
                except StoreBehind:
                    known = parse_checkpoint(note)
                    lost.add((known.tree_size, known.root_hash.hex()))
    finally:
        store.close()
    return [HeadSeen(size=size, root=root) for size, root in sorted(lost)]


def restored_record(size: int, lost: Sequence[HeadSeen], reason: str, now_ms: int) -> BookRestored:
    """The record that says that the book was restored to ``size`` entries, with what is lost."""
    return BookRestored(at=format_instant(Instant(now_ms, 0)), size=size, seen=tuple(lost), reason=reason)
