"""What the book shows of itself: checkpoint, entries, receipts, consistency, tiles; and a check of the whole book."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import msgspec

from ledger.application.chunk_check import ChunkCheck, parse_chunk
from ledger.application.openings_check import OpeningsCheck
from ledger.book.checkpoint import check_checkpoint
from ledger.book.frontier import Frontier
from ledger.book.key_terms import verifiers_at
from ledger.book.merkle import EMPTY_ROOT
from ledger.book.signing import Verifier
from ledger.book.tiles import TILE_WIDTH, encode_entries_tile
from ledger.errors import NotFound, RootMismatch, SignatureRejected, StoreDamaged, ViewMismatch
from ledger.evidence.hands import ONE_HAND, Hands
from ledger.line.erasure_rows import ErasedField
from ledger.store.commit import load_checkpoint_terms
from ledger.store.engine import Store
from ledger.store.kept_rows import TileCheck, check_no_others
from ledger.store.openings import openings_between
from ledger.store.reader import Reader, open_reader
from ledger.store.rebuild import open_check, view_differences
from ledger.store.selections import rows_with
from ledger.store.transaction import Transaction


class EntryView(msgspec.Struct, frozen=True, kw_only=True):
    """An entry for a person: its content, its hash in hex, and the values of its sealed fields by their paths.

    ``erased``: the fields that were erased, by path, and the address of the fact that erased each.
    """

    index: int
    hash: str
    entry: Any
    openings: dict[str, Any]
    erased: dict[str, str]


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
    entry: Any = msgspec.json.decode(stored.bytes)
    erased = erased_fields(reader, index, len(entry["said"]["records"]))
    return EntryView(index=index, hash=stored.hash.hex(), entry=entry, openings=opened, erased=erased)


def erased_fields(reader: Reader, index: int, count: int) -> dict[str, str]:
    """The erased fields of an entry with so many records: path to the address of the erasing fact. One query."""
    rows: list[ErasedField] = rows_with(reader, ErasedField, "fact", [f"{index}.{place}" for place in range(count)])
    return {row.path: row.address for row in rows}


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
    keys: Sequence[Verifier],
    *,
    views: bool = True,
    progress: Callable[[int, int], None] | None = None,
    hands: Hands = ONE_HAND,
) -> BookReport:
    """Check chain, tree, tiles, openings, checkpoint and (with ``views``) that all else is what the entries give.

    ``keys``: checkpoint keys that the caller trusts; one of them must have signed the stored checkpoint, and the book's
    own entries must say that it spoke for that size.  ``hands``: who reads and hashes the entries.
    One look at the store, beside which writers go on. ``progress(done, size)`` is called every 500 entries, and for the
    views once more from the start. Raises the first thing that is wrong: ChainBroken,
    RootMismatch, SealedFieldMismatch, SignatureRejected, StoreDamaged, ViewMismatch. O(n), in chunks.
    """
    truth = _Truth(store, origin, keys, progress, hands)
    try:
        if views:
            with open_check(store) as transaction:
                report = truth.check(Reader(transaction), views=True)
                _check_views(transaction, progress)
                check_key_term(Reader(transaction), origin, keys)
        else:
            with open_reader(store) as reader:
                report = truth.check(reader, views=False)
                check_key_term(reader, origin, keys)
    except (store.dialect.errors, TypeError, AttributeError) as error:
        # SQLite keeps a value of any sort in any cell; whoever put a number where bytes belong damaged the store.
        raise StoreDamaged("a stored row cannot be read", got=type(error).__name__) from error
    return report


class _Truth(NamedTuple):
    """The check of what stands, without the views: see `check_book`."""

    store: Store
    origin: str
    keys: Sequence[Verifier]
    progress: Callable[[int, int], None] | None
    hands: Hands

    def check(self, reader: Reader, *, views: bool) -> BookReport:
        head = reader.head()
        frontier, last, recorded_ms, openings = Frontier(), EMPTY_ROOT, 0, OpeningsCheck(reader)
        covered, tiles = _Covered(head.checkpoint, self.keys, self.origin), TileCheck(reader.transaction)
        chunks = ChunkCheck(self.store, reader, head.size, told=views)
        # The library that reads an archive has threads of its own, which a copy of the process would lack.
        hands = self.hands if self.store.archived is None or self.store.archive_place() is None else ONE_HAND
        for raw in hands.each(chunks.check, chunks.parts):
            chunk = parse_chunk(raw)
            start, hashes = frontier.size, chunk.leaves()
            if chunk.before != last:
                raise RootMismatch("stored hash is not that of the entry", where=f"entry {start - 1}")
            last, recorded_ms = hashes[-1], chunk.recorded_ms
            frontier = covered.append(frontier, hashes)
            tiles.append(hashes)
            openings.append(start, frontier.size, dict(chunk.looked_at))
            if self.progress is not None:
                self.progress(frontier.size, head.size)
        if (frontier.to_bytes(), last, recorded_ms) != (head.frontier, head.last_hash, head.recorded_ms):
            raise RootMismatch("the entries give another tree than the head states", where=f"size {head.size}")
        covered.check()
        tiles.finish(frontier)
        openings.finish()
        check_no_others(reader.transaction, entries=head.size, openings=openings.count)
        return BookReport(
            entries=head.size,
            root=frontier.root().hex(),
            openings=openings.count,
            checkpoint_size=covered.size,
            views_compared=views,
        )


class _Covered:
    """The stored checkpoint, which may be of an earlier size than the head."""

    def __init__(self, note: bytes | None, keys: Sequence[Verifier], origin: str) -> None:
        checkpoint = None if note is None else check_checkpoint(note, keys, origin)
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


def check_key_term(reader: Reader, origin: str, keys: Sequence[Verifier]) -> None:
    """Check that the key that signed the stored checkpoint spoke for its size, as the views say. Raises SignatureRejected."""
    note = reader.head().checkpoint
    if note is None:
        return
    checkpoint = check_checkpoint(note, keys, origin)
    speaking = verifiers_at(load_checkpoint_terms(reader.transaction), checkpoint.tree_size)
    for line in checkpoint.log_signatures:
        if line.verifier not in speaking:
            raise SignatureRejected(
                "the stored checkpoint is signed by a key that does not speak for its size",
                expected=", ".join(key.key_id.hex() for key in speaking),
                got=line.verifier.key_id.hex(),
                where=f"size {checkpoint.tree_size}",
            )


def _check_views(transaction: Transaction, progress: Callable[[int, int], None] | None) -> None:
    differences = view_differences(transaction, 1, progress)
    if differences:
        first = differences[0]
        raise ViewMismatch(
            f"view {first.view} differs from what the entries give",
            got=f"{first.only}: {first.row}",
            where=first.view,
            mend="run pourbook rebuild",
        )
