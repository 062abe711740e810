"""What the book shows of itself: checkpoint, entries, receipts, consistency, tiles; and a check of the whole book."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec

from ledger.application.openings_check import check_openings
from ledger.book.checkpoint import check_checkpoint
from ledger.book.entry import check_links, entry_hash
from ledger.book.frontier import Frontier
from ledger.book.merkle import EMPTY_ROOT
from ledger.book.signing import Verifier
from ledger.book.tiles import TILE_WIDTH, encode_entries_tile
from ledger.errors import LedgerError, NotFound, RootMismatch, StoreDamaged, ViewMismatch
from ledger.store.engine import Store
from ledger.store.kept_rows import TileCheck, check_no_others, check_told
from ledger.store.openings import openings_between
from ledger.store.reader import Reader, StoredEntry, open_reader
from ledger.store.rebuild import compare_views

CHUNK = 2_000


class EntryView(msgspec.Struct, frozen=True, kw_only=True):
    """An entry for a person: its content, its hash in hex, and which of its sealed fields still have an opening."""

    index: int
    hash: str
    entry: Any
    openings: dict[str, Any]


class BookReport(msgspec.Struct, frozen=True, kw_only=True):
    """What a check of the whole book looked at. It is raised, not reported, when something is wrong."""

    entries: int
    root: str
    openings: int
    checkpoint_size: int
    views_compared: bool


def entry_view(reader: Reader, index: int) -> EntryView:
    """One entry with the values of its sealed fields that may be opened. Raises NotFound."""
    stored = reader.entry(index)
    opened = {one.opening.path: one.opening.value for one in openings_between(reader.transaction, index, index + 1)}
    return EntryView(index=index, hash=stored.hash.hex(), entry=msgspec.json.decode(stored.bytes), openings=opened)


def entries_tile(reader: Reader, number: int, width: int) -> bytes:
    """The entry bytes of a tile, C2SP tlog-tiles. Raises NotFound for one that this book does not have."""
    first = number * TILE_WIDTH
    raws = [entry.bytes for entry in reader.entries(first, first + width)]
    if len(raws) != width:
        raise NotFound("tile is not in the tree", got=f"entries tile {number}, width {width}")
    return encode_entries_tile(raws)


def check_book(
    store: Store,
    origin: str,
    verifier: Verifier,
    *,
    views: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> BookReport:
    """Check chain, tree, tiles, openings, checkpoint and (with ``views``) that all else is what the entries give.

    ``progress(done, size)`` is called after every 2,000 entries. Raises the first thing that is wrong: ChainBroken,
    RootMismatch, SealedFieldMismatch, SignatureRejected, StoreDamaged, ViewMismatch. O(n), in chunks.
    """
    try:
        report = _check_truth(store, origin, verifier, views=views, progress=progress)
        if views:
            _check_views(store)
    except (store.dialect.errors, TypeError, AttributeError) as error:
        # SQLite keeps a value of any sort in any cell; whoever put a number where bytes belong damaged the store.
        raise StoreDamaged("a stored row cannot be read", got=type(error).__name__) from error
    return report


def _check_truth(
    store: Store, origin: str, verifier: Verifier, *, views: bool, progress: Callable[[int, int], None] | None
) -> BookReport:
    with open_reader(store) as reader:
        head = reader.head()
        frontier, last, recorded_ms, openings = Frontier(), EMPTY_ROOT, 0, 0
        covered, tiles = _Covered(head.checkpoint, verifier, origin), TileCheck(reader.transaction)
        for start in range(0, head.size, CHUNK):
            stop = min(start + CHUNK, head.size)
            stored = list(reader.entries(start, stop))
            hashes = _check_chunk(last, start, stop, stored)
            last, recorded_ms = hashes[-1], stored[-1].recorded_ms
            frontier = covered.append(frontier, hashes)
            tiles.append(hashes)
            openings += check_openings(reader.transaction, start, [entry.bytes for entry in stored])
            if views:
                check_told(reader.transaction, stored)
            if progress is not None:
                progress(stop, head.size)
        if (frontier.to_bytes(), last, recorded_ms) != (head.frontier, head.last_hash, head.recorded_ms):
            raise RootMismatch("the entries give another tree than the head states", where=f"size {head.size}")
        covered.check()
        tiles.finish(frontier)
        check_no_others(reader.transaction, entries=head.size, openings=openings)
    return BookReport(
        entries=head.size,
        root=frontier.root().hex(),
        openings=openings,
        checkpoint_size=covered.size,
        views_compared=views,
    )


def _check_chunk(last: bytes, start: int, stop: int, stored: list[StoredEntry]) -> list[bytes]:
    raws, kept = [entry.bytes for entry in stored], [entry.hash for entry in stored]
    try:
        hashes = check_links(last, start, raws)
    except LedgerError:
        # A changed entry breaks the link of the one after it; its own stored hash names it.
        _check_hashes(start, [entry_hash(raw) for raw in raws], kept)
        raise
    _check_hashes(start, hashes, kept)
    if len(hashes) != stop - start:
        raise RootMismatch("entries are missing", expected=f"{stop - start} from {start}", got=len(hashes))
    return hashes


class _Covered:
    """The stored checkpoint, which may be of an earlier size than the head."""

    def __init__(self, note: bytes | None, verifier: Verifier, origin: str) -> None:
        checkpoint = None if note is None else check_checkpoint(note, [verifier], origin)
        self.size = 0 if checkpoint is None else checkpoint.tree_size
        self._root = EMPTY_ROOT if checkpoint is None else checkpoint.root_hash
        self._found = EMPTY_ROOT

    def append(self, frontier: Frontier, hashes: list[bytes]) -> Frontier:
        inside = self.size - frontier.size
        if 0 < inside <= len(hashes):
            self._found = frontier.append(hashes[:inside]).root()
        return frontier.append(hashes)

    def check(self) -> None:
        if self._found != self._root:
            raise RootMismatch(
                "the signed checkpoint states another root than the entries give",
                expected=self._root.hex(),
                got=self._found.hex(),
                where=f"size {self.size}",
            )


def _check_hashes(start: int, hashes: list[bytes], stored: list[bytes]) -> None:
    if hashes == stored:
        return
    for place, (made, kept) in enumerate(zip(hashes, stored, strict=True)):
        if made != kept:
            raise RootMismatch("stored hash is not that of the entry", where=f"entry {start + place}")


def _check_views(store: Store) -> None:
    differences = compare_views(store, limit=1)
    if differences:
        first = differences[0]
        raise ViewMismatch(
            f"view {first.view} differs from what the entries give",
            got=f"{first.only}: {first.row}",
            where=first.view,
            mend="run pourbook rebuild",
        )
