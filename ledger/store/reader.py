"""The read side: one consistent look at the store, from which entries, proofs and view rows come.

A `Reader` lives within one read transaction (`open_reader`), so all that it answers belongs to one head.  Queries of
other concerns (tracing, populations) are files of their own over the same `Transaction`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from functools import cache
from typing import Any, Protocol, TypeVar

import msgspec

from ledger.book.receipt import format_receipt
from ledger.book.tiles import prove_consistency_from_tiles, prove_inclusion_from_tiles, tile_width
from ledger.errors import NotFound
from ledger.line.fact import Fact
from ledger.line.record import Record
from ledger.line.rows import Body, Row, Told
from ledger.line.state import Need, State
from ledger.line.views import VIEW_OF
from ledger.store.archived_entries import filled
from ledger.store.dialect import Dialect
from ledger.store.engine import Store
from ledger.store.head import Head, noted_size, read_head
from ledger.store.loader import Loader
from ledger.store.tiles import StoredTiles
from ledger.store.transaction import Transaction

R = TypeVar("R", bound=Row)

CHUNK = 1_000
"""Entries read in one query."""


class StoredEntry(msgspec.Struct, frozen=True, gc=False):
    """An entry as stored: its bytes, its leaf hash (32 bytes), when it was recorded (POSIX milliseconds)."""

    index: int
    hash: bytes
    bytes: bytes
    recorded_ms: int


@contextmanager
def open_reader(store: Store) -> Iterator[Reader]:
    """A reader for the length of the block. Raises StoreUnavailable."""
    with store.reading() as transaction:
        yield Reader(transaction)


class Beside(Protocol):
    """Another process that reads the same store, for a part of what is to be read."""

    over: int
    """Balls of a selection above which it is asked."""

    def begin(self, function: Callable[..., Any], *arguments: Any) -> Future[Any]:
        """Have ``function(inside, *arguments)`` worked out there; the future gives None where that fails."""


class Reader:
    """What the store holds, as of one head."""

    def __init__(self, transaction: Transaction, beside: Beside | None = None) -> None:
        """Read within ``transaction``; other queries may use it too."""
        self.transaction = transaction
        self.beside = beside
        self._loader = _loader(transaction.dialect)

    def head(self) -> Head:
        """Where the book ends. Its checkpoint may be of an earlier size."""
        return read_head(self.transaction)

    def entry(self, index: int) -> StoredEntry:
        """One entry. Raises NotFound."""
        found = filled(self.transaction, self.transaction.rows(f'{_ENTRY} WHERE "index" = ?', (index,)), raw=2)
        if not found:
            raise NotFound("entry is not in the book", got=index, mend="ask for an index below the tree size")
        return StoredEntry(*found[0])

    def entries(self, start: int, stop: int) -> Iterator[StoredEntry]:
        """Entries from ``start`` up to ``stop``, in order, read in chunks; ends early where the book does."""
        for first in range(start, stop, CHUNK):
            rows = self.transaction.rows(
                f'{_ENTRY} WHERE "index" >= ? AND "index" < ? ORDER BY "index"', (first, min(stop, first + CHUNK))
            )
            yield from (StoredEntry(*row) for row in filled(self.transaction, rows, raw=2))
            if len(rows) < min(CHUNK, stop - first):
                return

    def entry_rows(self, start: int, stop: int) -> list[tuple[bytes, bytes, int]]:
        """Hash, bytes and recorded milliseconds of the entries from ``start`` up to ``stop``, in one query."""
        rows = self.transaction.rows(_ENTRY_ROWS, (start, stop))
        if all(row[1] is not None for row in rows):
            return rows
        # Archived: the same rows once more, with the index that tells them apart.
        rows = self.transaction.rows(f'{_ENTRY} WHERE "index" >= ? AND "index" < ? ORDER BY "index"', (start, stop))
        return [row[1:] for row in filled(self.transaction, rows, raw=2)]

    def entries_at(self, indexes: Sequence[int]) -> list[tuple[int, bytes]]:
        """Index and bytes of these entries, in order, in one query. Raises NotFound where one is not in the book."""
        condition = self.transaction.dialect.any_of('"index"')
        rows = self.transaction.rows_of(
            f'SELECT "index", "bytes" FROM "entry" WHERE {condition} ORDER BY "index"', indexes
        )
        if len(rows) != len(set(indexes)):
            missing = set(indexes) - {index for index, _ in rows}
            raise NotFound("entry is not in the book", got=min(missing), mend="ask for an index below the tree size")
        return [(index, bytes(raw)) for index, raw in filled(self.transaction, rows)]

    def hash_tile(self, level: int, number: int, width: int) -> bytes:
        """Hashes of a tile, 32 bytes each. Raises NotFound for one that this tree does not have."""
        if not 0 < width <= tile_width(self.head().size, level, number):
            raise NotFound("tile is not in the tree", got=f"level {level}, tile {number}, width {width}")
        return StoredTiles(self.transaction).read_tiles([(level, number, width)])[0]

    def receipt(self, index: int, note: bytes | None = None) -> str:
        """The receipt of an entry against ``note``, by default the stored checkpoint; O(log n) rows.

        Raises NotFound for an entry that the checkpoint does not cover.
        """
        note = note or self.head().checkpoint
        size = noted_size(note) if note else 0
        if note is None or not 0 <= index < size:
            raise NotFound("no checkpoint covers the entry", got=index, expected=f"an index below {size}")
        return format_receipt(index, prove_inclusion_from_tiles(StoredTiles(self.transaction), index, size), note)

    def consistency(self, old_size: int, new_size: int) -> list[bytes]:
        """Proof that the tree of ``new_size`` extends that of ``old_size``. Raises NotFound for sizes it does not have."""
        if new_size > self.head().size:
            raise NotFound("tree is not that large", expected=f"at most {self.head().size}", got=new_size)
        return prove_consistency_from_tiles(StoredTiles(self.transaction), old_size, new_size)

    def one(self, row: type[R], key: str) -> R | None:
        """The row with this single-column key, or None."""
        found = self.rows(row, VIEW_OF[row].key[0], key)
        return found[0] if found else None

    def rows(self, row: type[R], column: str, value: str) -> list[R]:
        """All rows of a view with this value in a column that it is asked by."""
        return self.rows_of(row, column, [value])[value]

    def rows_of(self, row: type[R], column: str, values: Sequence[str]) -> dict[str, list[R]]:
        """The same for many values at once, in one query."""
        state = State()
        self._loader.load(self.transaction, state, [Need(row, column, value) for value in dict.fromkeys(values)])
        return {value: state.where(row, column, value) for value in values}

    def facts_about(self, node: str) -> list[Fact]:
        """The standing facts about a node, in address order, with their standing bodies and breaches."""
        return [told.fact for told in self.rows(Told, "node", node)]

    def fact(self, address: str) -> Fact | None:
        """The standing fact at an address; None for one that is withdrawn, unknown, or itself a correction."""
        found = self.rows(Body, "address", address)
        return found[0].fact if found else None

    def state_for(self, records: Iterable[Record]) -> State:
        """A state with all that checking these records reads: for asking whether they may be said now."""
        state = State()
        self._loader.load_for(self.transaction, state, records, thorough=True)
        return state

    def state_with(self, needs: Callable[[State], Iterable[Need]]) -> State:
        """A state with all that ``needs`` names, asked again until it names nothing new."""
        state = State()
        while missing := state.lacking(needs(state)):
            self._loader.load(self.transaction, state, missing)
        return state

    def requested(self, author: str, key: str) -> int | None:
        """The entry that an idempotency key of an author became, or None for a key not used yet."""
        found = self.transaction.row('SELECT "index" FROM "request" WHERE "key" = ? AND "author" = ?', (key, author))
        return None if found is None else int(found[0])

    def setting(self, name: str) -> str | None:
        """A value that belongs to this store."""
        found = self.transaction.row('SELECT "value" FROM "setting" WHERE "name" = ?', (name,))
        return None if found is None else str(found[0])


_ENTRY_ROWS = 'SELECT "hash", "bytes", "recorded_ms" FROM "entry" WHERE "index" >= ? AND "index" < ? ORDER BY "index"'
_ENTRY = 'SELECT "index", "hash", "bytes", "recorded_ms" FROM "entry"'


@cache
def _loader(dialect: Dialect) -> Loader:
    return Loader(dialect)
