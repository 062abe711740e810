"""A whole book in another store: from SQLite to PostgreSQL, and back.

Every entry is checked on its way (chain and tree) and read back from the new store before it is committed there.  What is
written is what was read, to the byte, so head, proofs and receipts are the same.  A copy that was stopped goes on where it
stopped; until it is whole the new store takes no entries (`ledger.store.moved`) and shows an empty book.  With ``move``
the old store takes none any more, from within the same lock under which its last entries are read: there is no moment at
which both could be written.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

from ledger.book.entry import check_links
from ledger.book.frontier import Frontier
from ledger.errors import RootMismatch, StoreDamaged, StoreError
from ledger.store.archived_entries import filled
from ledger.store.engine import Store
from ledger.store.entry_ranges import Room
from ledger.store.head import Head, read_head, write_head
from ledger.store.moved import MOVED, UNFINISHED, close_moved, copy_settings
from ledger.store.outlines import read_outlines
from ledger.store.store_settings import CHANGES, PUT_SETTING, put_setting
from ledger.store.tiles import load_edge, store_tiles
from ledger.store.transaction import Transaction
from ledger.store.truth_tables import TRUTH

CHUNK = 1000
"""Entries, or other rows, in one transaction of the new store."""

BLOB_CHUNK = 8
"""Files at once: one may have some megabytes."""

_BESIDE = (
    *("account", "token", "password", "session", "sign_in", "device"),
    *("cosignature", "published", "time_token", "witness_standing"),
)
"""Tables that are copied whole in the last transaction, in an order that keeps foreign keys."""

_OWN = ("lease:", "views-", "last-backup", "archive", CHANGES, UNFINISHED, MOVED)
"""Beginnings of the names of settings that belong to a store and not to its book."""

_ENTRIES = (
    'SELECT "index", "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" >= ? AND "index" < ? ORDER BY "index"'
)

Progress = Callable[[int, int], None]


class Copied(NamedTuple):
    """``size`` entries under ``root`` stand in the new store; ``fresh`` of them were copied by this run."""

    size: int
    root: bytes
    fresh: int


def copy_book(source: Store, target: Store, *, move: bool = False, progress: Progress | None = None) -> Copied:
    """Copy the book of one store into another, which is empty or holds the beginning of the same copy.

    Afterwards the views of ``target`` have to be made anew (`ledger.store.rebuild.rebuild_views`). Beside it others may
    write ``source``: what they enter meanwhile is not copied, unless ``move`` waits for them and closes it.
    Raises StoreError for stores that do not fit, StoreDamaged, ChainBroken or RootMismatch for a source that is wrong.
    O(n) time, memory of a chunk.
    """
    copy = _Copy(source, target, progress)
    try:
        copy.begin()
        with source.reading() as look:
            copy.follow(look)
            if not move:
                return copy.finish(look)
        closing = source.transaction()
        try:
            closing.begin_write()
            copy.follow(closing, lock=True)
            close_moved(closing, copy.id)
            closing.commit()
        finally:
            closing.close()
        with source.reading() as look:
            return copy.finish(look)
    finally:
        copy.close()


class _Copy:
    """One run of a copy."""

    def __init__(self, source: Store, target: Store, progress: Progress | None) -> None:
        self._source, self._to = source, target.transaction()
        self._progress = progress
        self._room = Room()
        self._done = self._first = 0
        self._last = hashlib.sha256(b"").digest()
        self.id = ""

    def close(self) -> None:
        """Take back what was not committed."""
        self._to.rollback()
        self._to.close()

    def begin(self) -> None:
        """Find out what the new store holds, and mark it as unfinished. Raises StoreError."""
        to = self._to
        to.begin_write()
        head = read_head(to, lock=True)
        unfinished, _ = copy_settings(to)
        with self._source.reading() as look:
            closed, moved = copy_settings(look)
        if closed is not None:
            raise StoreError("the store to copy from is an unfinished copy itself", mend="finish that copy first")
        if unfinished is None:
            self._check_empty(head)
            unfinished = secrets.token_hex(8)
            put_setting(to, UNFINISHED, unfinished)
            # Views that were made of nothing would be taken for those of the book.
            to.run('DELETE FROM "setting" WHERE "name" = \'views-digest\'')
        if moved not in (None, unfinished):
            raise StoreError(
                "the book of this store was moved to another one", mend="copy from the store that it was moved to"
            )
        self.id = unfinished
        found = to.row('SELECT "index", "hash" FROM "entry" ORDER BY "index" DESC LIMIT 1')
        if found is not None:
            self._done, self._last = found[0] + 1, found[1]
        self._first = self._done
        to.commit()

    def _check_empty(self, head: Head) -> None:
        if head.size or self._to.row('SELECT 1 FROM "account" LIMIT 1') is not None:
            raise StoreError(
                "the store to copy to is in use",
                expected="an empty store, or an unfinished copy of the same book",
                got=f"a store with {head.size} entries",
                mend="name a new file or database",
            )

    def follow(self, look: Transaction, *, lock: bool = False) -> None:
        """Copy the entries that ``look`` shows and the new store lacks; with ``lock`` none comes after them.

        Raises what is wrong with them.
        """
        size = read_head(look, lock=lock).size
        if self._done > size or (self._done and self._hash_at(look) != self._last):
            raise StoreError(
                "the unfinished copy is not of this book",
                expected="the same entries",
                where=f"entry {self._done - 1}",
                mend="name a new file or database",
            )
        while self._done < size:
            self._take(look, min(self._done + CHUNK, size))
            if self._progress is not None:
                self._progress(self._done, size)

    def _hash_at(self, look: Transaction) -> bytes | None:
        found = look.row('SELECT "hash" FROM "entry" WHERE "index" = ?', (self._done - 1,))
        return None if found is None else found[0]

    def _take(self, look: Transaction, stop: int) -> None:
        start, to = self._done, self._to
        rows = filled(look, look.rows(_ENTRIES, (start, stop)), raw=2)
        raws = [row[2] for row in rows]
        outlines = list(read_outlines(start, raws))
        hashes = check_links(self._last, start, raws, outlines)
        if len(rows) != stop - start or hashes != [row[1] for row in rows]:
            raise StoreDamaged("entries are missing, or are not what their hashes say", where=f"from entry {start}")
        requests = _requests(look, [outline.said.key for outline in outlines], start, stop)
        if len(requests) != len(rows):
            raise StoreDamaged("keys of entries are missing", where=f"from entry {start}")
        to.begin_write()
        edge = load_edge(to, start)
        if self._room.lacks(start, len(rows)):
            self._room.make(to, start, needed=len(rows))
        _insert(to, "entry", rows)
        _insert(to, "opening", _opening_rows(look, start, stop))
        _insert(to, "request", requests)
        store_tiles(to, edge.append(hashes))
        if to.rows(_ENTRIES, (start, stop)) != rows:
            raise StoreDamaged("the new store does not give back what was written", where=f"from entry {start}")
        to.commit()
        self._done, self._last = stop, hashes[-1]

    def finish(self, look: Transaction) -> Copied:
        """Copy what lies beside the entries, and open the new store. Raises RootMismatch, StoreDamaged."""
        head, to = read_head(look), self._to
        _copy_blobs(look, to)
        to.begin_write()
        frontier = load_edge(to, self._done).frontier()
        head = self._own_head(head, frontier)
        if self._first:
            _drop_erased(look, to, self._done)
        for name in _BESIDE:
            for rows in _pages(look, name, CHUNK):
                _insert(to, name, rows)
        settings = look.rows('SELECT "name", "value" FROM "setting"')
        to.run_many(PUT_SETTING, [row for row in settings if not row[0].startswith(_OWN)])
        write_head(to, head)
        to.run('DELETE FROM "setting" WHERE "name" = ?', (UNFINISHED,))
        to.commit()
        return Copied(head.size, frontier.root(), self._done - self._first)

    def _own_head(self, head: Head, frontier: Frontier) -> Head:
        if head.size != self._done or frontier.to_bytes() != head.frontier or head.last_hash != self._last:
            raise RootMismatch("the entries give another tree than the head states", where=f"size {head.size}")
        return head


def _columns(name: str) -> list[str]:
    return [str(column.name) for column in TRUTH.tables[name].columns]


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _insert(to: Transaction, name: str, rows: Sequence[Sequence[Any]]) -> None:
    columns = _columns(name)
    if rows:
        marks = ", ".join("?" for _ in columns)
        to.run_many(f'INSERT INTO "{name}" ({_quoted(columns)}) VALUES ({marks})', rows)


def _opening_rows(look: Transaction, start: int, stop: int) -> list[tuple[Any, ...]]:
    names = _quoted(_columns("opening"))
    return look.rows(f'SELECT {names} FROM "opening" WHERE "index" >= ? AND "index" < ?', (start, stop))


def _requests(look: Transaction, keys: Sequence[str], start: int, stop: int) -> list[tuple[Any, ...]]:
    """The used keys that became these entries; another author may have used the same key for another entry."""
    names = _columns("request")
    marks = look.dialect.any_of('"key"')
    rows = look.rows_of(f'SELECT {_quoted(names)} FROM "request" WHERE {marks}', sorted(set(keys)))
    place = names.index("index")
    return [row for row in rows if start <= row[place] < stop]


def _pages(look: Transaction, name: str, count: int) -> Iterator[list[tuple[Any, ...]]]:
    """All rows of a table by its primary key, ``count`` at a time."""
    keys, names = [str(column.name) for column in TRUTH.tables[name].primary_key.columns], _columns(name)
    select, order = f'SELECT {_quoted(names)} FROM "{name}"', f"ORDER BY {_quoted(keys)} LIMIT {count}"
    rows = look.rows(f"{select} {order}")
    marks = ", ".join("?" for _ in keys)
    while rows:
        yield rows
        last = [rows[-1][names.index(key)] for key in keys]
        rows = look.rows(f"{select} WHERE ({_quoted(keys)}) > ({marks}) {order}", last)


def _copy_blobs(look: Transaction, to: Transaction) -> None:
    """The files that entries name: each is what its digest says. Those that the new store has already are kept."""
    names = _columns("blob")
    digest, content = names.index("digest"), names.index("bytes")
    for rows in _pages(look, "blob", BLOB_CHUNK):
        for row in rows:
            if hashlib.sha256(row[content]).hexdigest() != row[digest]:
                raise StoreDamaged("a file is not what its digest says", where=f"blob {row[digest]}")
        to.begin_write()
        marks = to.dialect.any_of('"digest"')
        there = {row[0] for row in to.rows_of(f'SELECT "digest" FROM "blob" WHERE {marks}', [r[digest] for r in rows])}
        _insert(to, "blob", [row for row in rows if row[digest] not in there])
        to.commit()


def _drop_erased(look: Transaction, to: Transaction, size: int) -> None:
    """Delete what was erased in the old store after an earlier run of this copy had taken it."""
    for start in range(0, size, CHUNK):
        span = (start, min(start + CHUNK, size))
        keys = 'SELECT "index", "path" FROM "opening" WHERE "index" >= ? AND "index" < ?'
        gone = sorted(set(to.rows(keys, span)) - set(look.rows(keys, span)))
        to.run_many('DELETE FROM "opening" WHERE "index" = ? AND "path" = ?', gone)
    kept = {row[0] for row in look.rows('SELECT "digest" FROM "blob"')}
    files = [row for row in to.rows('SELECT "digest" FROM "blob"') if row[0] not in kept]
    to.run_many('DELETE FROM "blob" WHERE "digest" = ?', files)
