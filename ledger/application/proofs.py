"""What the book shows of itself: checkpoint, entries, receipts, consistency, tiles; and a check of the whole book."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from ledger.application.openings_check import OpeningsCheck
from ledger.book.checkpoint import check_checkpoint
from ledger.book.entry import check_links, entry_hash
from ledger.book.frontier import Frontier
from ledger.book.key_terms import verifiers_at
from ledger.book.merkle import EMPTY_ROOT
from ledger.book.signing import Verifier
from ledger.book.tiles import TILE_WIDTH, encode_entries_tile
from ledger.errors import LedgerError, NotFound, RootMismatch, SignatureRejected, StoreDamaged, ViewMismatch
from ledger.line.erasure_rows import ErasedField
from ledger.store.commit import load_checkpoint_terms
from ledger.store.engine import Store
from ledger.store.kept_rows import TileCheck, check_no_others, check_told
from ledger.store.openings import openings_between
from ledger.store.outlines import Outline, read_outlines
from ledger.store.reader import Reader, open_reader
from ledger.store.rebuild import open_check, view_differences
from ledger.store.selections import rows_with
from ledger.store.transaction import Transaction

CHUNK = 500
"""Entries at once: few enough that they are still in the processor's cache when they are hashed."""


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
) -> BookReport:
    """Check chain, tree, tiles, openings, checkpoint and (with ``views``) that all else is what the entries give.

    ``keys``: checkpoint keys that the caller trusts; one of them must have signed the stored checkpoint, and the book's
    own entries must say that it spoke for that size.
    One look at the store, beside which writers go on. ``progress(done, size)`` is called every 500 entries, and for the
    views once more from the start. Raises the first thing that is wrong: ChainBroken,
    RootMismatch, SealedFieldMismatch, SignatureRejected, StoreDamaged, ViewMismatch. O(n), in chunks.
    """
    try:
        if views:
            with open_check(store) as transaction:
                report = _check_truth(Reader(transaction), origin, keys, views=True, progress=progress)
                _check_views(transaction, progress)
                check_key_term(Reader(transaction), origin, keys)
        else:
            with open_reader(store) as reader:
                report = _check_truth(reader, origin, keys, views=False, progress=progress)
                check_key_term(reader, origin, keys)
    except (store.dialect.errors, TypeError, AttributeError) as error:
        # SQLite keeps a value of any sort in any cell; whoever put a number where bytes belong damaged the store.
        raise StoreDamaged("a stored row cannot be read", got=type(error).__name__) from error
    return report


def _check_truth(
    reader: Reader, origin: str, keys: Sequence[Verifier], *, views: bool, progress: Callable[[int, int], None] | None
) -> BookReport:
    head = reader.head()
    frontier, last, recorded_ms, openings = Frontier(), EMPTY_ROOT, 0, OpeningsCheck(reader.transaction)
    covered, tiles = _Covered(head.checkpoint, keys, origin), TileCheck(reader.transaction)
    for start in range(0, head.size, CHUNK):
        stop = min(start + CHUNK, head.size)
        kept, raws, instants = _columns(reader.entry_rows(start, stop))
        outlines, hashes = _check_chunk(last, start, raws, kept)
        if len(hashes) != stop - start:
            raise RootMismatch("entries are missing", expected=f"{stop - start} from {start}", got=len(hashes))
        last, recorded_ms = hashes[-1], instants[-1]
        frontier = covered.append(frontier, hashes)
        tiles.append(hashes)
        openings.append(start, raws, outlines)
        if views:
            check_told(reader.transaction, outlines, instants)
        if progress is not None:
            progress(stop, head.size)
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


def _columns(rows: list[tuple[bytes, bytes, int]]) -> tuple[Sequence[bytes], Sequence[bytes], Sequence[int]]:
    """Stored hashes, entries, and recorded instants."""
    return tuple(zip(*rows, strict=True)) if rows else ((), (), ())  # type: ignore[return-value]  # three columns


def _check_chunk(
    last: bytes, start: int, raws: Sequence[bytes], kept: Sequence[bytes]
) -> tuple[list[Outline], list[bytes]]:
    """What the entries of a chunk say, and their hashes; they follow the one before, and their hashes are those kept."""
    try:
        outlines = list(read_outlines(start, raws))
        hashes = check_links(last, start, raws, outlines)
    except LedgerError:
        # A changed entry breaks the link of the one after it; its own stored hash names it.
        _check_hashes(start, [entry_hash(raw) for raw in raws], kept)
        raise
    _check_hashes(start, hashes, kept)
    return outlines, hashes


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


def _check_hashes(start: int, hashes: list[bytes], stored: Sequence[bytes]) -> None:
    if hashes == list(stored):
        return
    for place, (made, kept) in enumerate(zip(hashes, stored, strict=True)):
        if made != kept:
            raise RootMismatch("stored hash is not that of the entry", where=f"entry {start + place}")


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
