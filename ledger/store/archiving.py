"""The book up to its newest checkpoint as a static log in a folder: entries tiles, hash tiles, the checkpoint (C2SP
tlog-tiles v0.1.0); then the bytes of whole ranges that lie below are taken out of the database.

Whoever has the folder and the book's key can follow, read and prove it without this service.  No object is written over
with other bytes, but for the checkpoint, which gives way to one that extends it; each is read back and held against the
stored hashes before anything is taken out.  A run that was stopped goes on: what is there already is read and compared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from ledger.book.checkpoint import Checkpoint, parse_checkpoint
from ledger.book.entry import entry_hash
from ledger.book.key_terms import check_checkpoint_in_term
from ledger.book.tiles import (
    TILE_HEIGHT,
    TILE_WIDTH,
    decode_entries_tile,
    encode_entries_tile,
    entries_path,
    root_from_tiles,
    tile_path,
)
from ledger.errors import LedgerError, RootMismatch, StoreDamaged, StoreError, Unsupported
from ledger.store.archived_entries import ARCHIVE, Place
from ledger.store.commit import load_checkpoint_terms
from ledger.store.engine import Store
from ledger.store.entry_ranges import EntryRange, entry_ranges
from ledger.store.head import read_head
from ledger.store.objects import WRITING, Objects, together
from ledger.store.published import newest_published
from ledger.store.range_exchange import archive_turn, drop_left, exchange_range, is_owner
from ledger.store.reader import Reader, StoredEntry
from ledger.store.store_settings import put_setting, setting_of
from ledger.store.tiles import StoredTiles, load_edge
from ledger.store.transaction import Transaction

STRETCH = 16 * TILE_WIDTH
"""Entries that are read, written and read back at a time."""

PATIENCE_S = 600.0
"""How long a range waits for looks at the book to end before its bytes are taken out, in seconds."""

Progress = Callable[[int, int], None]
Tile = tuple[int, int, int]
"""Level, number, width."""


class Archived(NamedTuple):
    """What a run did: the log in the folder has ``size`` entries; of those the bytes of ``stop`` lie there alone,
    ``before`` of them since earlier runs. ``published``: whether the checkpoint is a published one.
    """

    size: int
    published: bool
    before: int
    stop: int


class _Aim(NamedTuple):
    """Up to which checkpoint to go, and from where on the folder may lack something."""

    checkpoint: Checkpoint
    published: bool
    start: int
    place: Place | None


def archive_book(
    store: Store, url: str, *, patience_s: float = PATIENCE_S, progress: Progress | None = None
) -> Archived:
    """Bring the folder at ``url`` up to the newest checkpoint, and take out the bytes of whole ranges below it.

    Writers and readers go on. Another folder than before gets everything, read from the one before.
    Raises Unsupported on SQLite and without the library, StoreUnavailable where the folder does not answer, another run is
    on, or looks at the book last longer than ``patience_s``; StoreError where other bytes stand in the folder, or the
    database's role owns no tables; RootMismatch, StoreDamaged or SignatureRejected for a store that is wrong.
    """
    if store.dialect.name != "postgresql":
        raise Unsupported(
            "an archive is made of a book on PostgreSQL",
            got=store.dialect.name,
            mend="a book in one file is kept whole; pourbook copy takes it to PostgreSQL",
        )
    objects = Objects(url, WRITING)
    with archive_turn(store):
        run = _Run(store, objects, progress)
        aim = run.aim()
        run.write(aim)
        return run.take_out(aim, patience_s)


class _Run:
    """One run over one store and one folder."""

    def __init__(self, store: Store, objects: Objects, progress: Progress | None) -> None:
        self._store, self._objects, self._progress = store, objects, progress

    def aim(self) -> _Aim:
        """The newest published checkpoint, or the stored one where none is published; its signature and root are checked."""
        with self._store.reading() as look:
            if not is_owner(look):
                raise StoreError(
                    "this role does not own the tables of the book", mend="name the owner's role in the store's address"
                )
            published = newest_published(look)
            note = published.note if published is not None else read_head(look).checkpoint
            if note is None:
                raise StoreError("the book has no checkpoint yet", mend="start the service once, then archive")
            checkpoint = _checked_note(look, note)
            archived = [one.stop for one in entry_ranges(look) if one.archived]
            place = self._store.archive_place()
        start = archived[-1] if archived and place is not None and place.url == self._objects.url else 0
        return _Aim(checkpoint, published is not None, min(start, checkpoint.tree_size), place)

    def write(self, aim: _Aim) -> None:
        """Write what the folder lacks up to the checkpoint, and the checkpoint last. Raises as `archive_book` does."""
        size = aim.checkpoint.tree_size
        with self._store.reading() as look:
            frontier = load_edge(look, aim.start).frontier()
        for start in range(aim.start, size, STRETCH):
            stop = min(start + STRETCH, size)
            with self._store.reading() as look:
                rows = list(Reader(look).entries(start, stop))
            if len(rows) != stop - start:
                raise StoreDamaged("entries are missing", where=f"from entry {start}")
            together(self._keep_leaves, [rows[at : at + TILE_WIDTH] for at in range(0, len(rows), TILE_WIDTH)])
            frontier = frontier.append([row.hash for row in rows])
            if self._progress is not None:
                self._progress(stop, size)
        if frontier.root() != aim.checkpoint.root_hash:
            raise RootMismatch("the entries give another tree than the checkpoint states", where=f"size {size}")
        tiles = list(_higher_tiles(aim.start, size))
        for at in range(0, len(tiles), STRETCH):
            with self._store.reading() as look:
                found = StoredTiles(look).read_tiles(tiles[at : at + STRETCH])
            together(self._keep_tile, list(zip(tiles[at : at + STRETCH], found, strict=True)))
        self._keep_checkpoint(aim.checkpoint)
        self._objects.settle()

    def _keep_leaves(self, rows: Sequence[StoredEntry]) -> None:
        """The entries tile and the hash tile of up to 256 entries, both read back."""
        number, width = rows[0].index // TILE_WIDTH, len(rows)
        hashes = [row.hash for row in rows]
        path, raw = entries_path(number, width), encode_entries_tile([row.bytes for row in rows])
        kept = decode_entries_tile(self._keep_bytes(path, raw))
        for index, entry, digest in zip(range(rows[0].index, rows[0].index + width), kept, hashes, strict=True):
            if entry_hash(entry) != digest:
                raise StoreDamaged("stored hash is not that of the entry", where=f"entry {index}")
        self._keep_bytes(tile_path(0, number, width), b"".join(hashes))

    def _keep_tile(self, tile: tuple[Tile, bytes]) -> None:
        self._keep_bytes(tile_path(*tile[0]), tile[1])

    def _keep_bytes(self, path: str, raw: bytes) -> bytes:
        """Write an object where none is, and read what is there. Raises StoreError where it is another."""
        fresh = self._objects.put_new(path, raw)
        found = self._objects.get(path)
        if found != raw:
            raise StoreError(
                "object storage does not give back what was written" if fresh else "another object stands there",
                where=f"{self._objects.url}/{path}",
                mend="nothing was taken out of the database; archive to another folder, or find out whose this one is",
            )
        return found

    def _keep_checkpoint(self, checkpoint: Checkpoint) -> None:
        """Put the checkpoint in the place of an earlier one of this book. A later one of it stays."""
        standing = self._objects.get("checkpoint")
        if standing == checkpoint.note:
            return
        if standing is not None:
            try:
                with self._store.reading() as look:
                    size = _checked_note(look, standing).tree_size
            except LedgerError as error:
                raise StoreError(
                    "the folder has the checkpoint of another book, or of another history of this one",
                    got=error.problem,
                    where=f"{self._objects.url}/checkpoint",
                    mend="archive to another folder",
                ) from error
            if size > checkpoint.tree_size:
                return
        self._objects.replace("checkpoint", checkpoint.note)
        if self._objects.get("checkpoint") != checkpoint.note:
            raise StoreError(
                "object storage does not give back what was written", where=f"{self._objects.url}/checkpoint"
            )

    def take_out(self, aim: _Aim, patience_s: float) -> Archived:
        """Take out the bytes of the ranges that lie below the checkpoint and before the end of the book."""
        transaction = self._store.transaction()
        try:
            drop_left(transaction)
        finally:
            transaction.close()
        with self._store.writing() as transaction:
            ranges = entry_ranges(transaction)
            before = [one.stop for one in ranges if one.archived]
            # The last tile's worth of entries stays, since a writer reads it when it starts.
            reach = min(aim.checkpoint.tree_size, read_head(transaction).size - TILE_WIDTH)
            closed = _closed(ranges, reach)
            if (closed or before) and setting_of(transaction, ARCHIVE) != self._objects.url:
                put_setting(transaction, ARCHIVE, self._objects.url)
        for one in closed:
            exchange_range(self._store, one, patience_s)
        earlier = before[-1] if before else 0
        return Archived(aim.checkpoint.tree_size, aim.published, earlier, closed[-1].stop if closed else earlier)


def _closed(ranges: Sequence[EntryRange], reach: int) -> list[EntryRange]:
    return [one for one in ranges if not one.archived and one.stop <= reach]


def _checked_note(look: Transaction, note: bytes) -> Checkpoint:
    """A checkpoint of this book, signed by a key that speaks for its size and with the root of the store's tree there."""
    checkpoint = check_checkpoint_in_term(note, load_checkpoint_terms(look), origin=setting_of(look, "origin") or "")
    size = parse_checkpoint(note).tree_size
    if size > read_head(look).size:
        raise StoreDamaged("checkpoint is ahead of the store", where=f"size {size}")
    if root_from_tiles(StoredTiles(look), size) != checkpoint.root_hash:
        raise RootMismatch("the store's tiles give another tree than the checkpoint states", where=f"size {size}")
    return checkpoint


def _higher_tiles(start: int, size: int) -> Iterator[Tile]:
    """The tiles above the leaves that a tree of ``size`` has and one of ``start`` had not, or not so wide."""
    level = 1
    while count := size >> (TILE_HEIGHT * level):
        first = (start >> (TILE_HEIGHT * level)) // TILE_WIDTH
        for number in range(first, -(-count // TILE_WIDTH)):
            yield level, number, min(TILE_WIDTH, count - number * TILE_WIDTH)
        level += 1
