"""A stretch of a book's entries, checked by itself: a part that rests on no other (`ledger.evidence.hands`).

Another process looks at the store by a connection of its own.  What it reads is the same: entries below the size of the
checked look, their hashes and their used keys never change again.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import msgspec

from ledger.application.openings_check import ERASES
from ledger.book.entry import check_links, entry_hash
from ledger.book.merkle import EMPTY_ROOT, HASH_BYTES
from ledger.errors import LedgerError, RootMismatch
from ledger.store.engine import Store
from ledger.store.kept_rows import check_told
from ledger.store.outlines import Outline, places_to_look_at, read_outlines
from ledger.store.reader import Reader

CHUNK = 500
"""Entries at once: few enough that they are still in the processor's cache when they are hashed."""


class ChunkFound(msgspec.Struct, array_like=True, gc=False):
    """What a chunk gives: the hash before it as it is stored, its own hashes in a row, the instant of its last entry, and
    the entries that may have openings or erase some, each by its index.
    """

    before: bytes
    hashes: bytes
    recorded_ms: int
    looked_at: list[tuple[int, bytes]]

    def leaves(self) -> list[bytes]:
        """The hashes one by one."""
        return [self.hashes[at : at + HASH_BYTES] for at in range(0, len(self.hashes), HASH_BYTES)]


_encode = msgspec.msgpack.Encoder().encode
parse_chunk = msgspec.msgpack.Decoder(ChunkFound).decode


class ChunkCheck:
    """Checks the chunks of a book of ``size`` entries, in the look of ``reader``; ``told``: used keys and instants too."""

    def __init__(self, store: Store, reader: Reader, size: int, *, told: bool) -> None:
        """Nothing is read yet."""
        self._store = store
        self._reader = reader
        self._size = size
        self._told = told
        self._process = os.getpid()
        self._left: object = None

    @property
    def parts(self) -> range:
        """The numbers of the chunks."""
        return range(-(-self._size // CHUNK))

    def check(self, part: int) -> bytes:
        """Check a chunk: each entry follows the one before, and is what its stored hash says; a `ChunkFound`.

        Raises ChainBroken, RootMismatch, StoreDamaged, MalformedEntry.
        """
        start, stop = part * CHUNK, min((part + 1) * CHUNK, self._size)
        with self._look() as reader:
            before = reader.entry(start - 1).hash if start else EMPTY_ROOT
            rows = reader.entry_rows(start, stop)
            kept, raws, instants = zip(*rows, strict=True) if rows else ((), (), ())
            outlines, hashes = _check_chunk(before, start, raws, kept)
            if len(hashes) != stop - start:
                raise RootMismatch("entries are missing", expected=f"{stop - start} from {start}", got=len(hashes))
            if self._told:
                check_told(reader.transaction, outlines, instants)
        looked_at = [(start + place, raws[place]) for place in places_to_look_at(outlines, ERASES)]
        return _encode(ChunkFound(before, b"".join(hashes), instants[-1], looked_at))

    @contextmanager
    def _look(self) -> Iterator[Reader]:
        if os.getpid() == self._process:
            yield self._reader
            return
        if self._process:
            # Connections that came with the copy of the process are the other one's: they are not used, nor even closed.
            self._left = self._store.engine.pool
            self._store.engine.dispose(close=False)
            self._process = 0
        with self._store.reading() as transaction:
            yield Reader(transaction)


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


def _check_hashes(start: int, hashes: list[bytes], stored: Sequence[bytes]) -> None:
    if hashes == list(stored):
        return
    for place, (made, kept) in enumerate(zip(hashes, stored, strict=True)):
        if made != kept:
            raise RootMismatch("stored hash is not that of the entry", where=f"entry {start + place}")
