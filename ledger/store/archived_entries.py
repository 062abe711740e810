"""The bytes of archived entries, from object storage: each held against its leaf hash of the table before it is used.

Rows of archived entries keep index, hash and instant; their bytes lie in entries tiles of a folder (C2SP tlog-tiles, see
`ledger.book.tiles`).  Whoever reads bytes asks `filled`, which costs nothing while they stand in the table.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from ledger.book.entry import entry_hash
from ledger.book.tiles import TILE_WIDTH, decode_entries_tile, entries_path
from ledger.errors import LedgerError, StoreDamaged, StoreUnavailable
from ledger.store.objects import AT_ONCE, Objects, stretches, together

if TYPE_CHECKING:
    from ledger.store.transaction import Transaction

ARCHIVE = "archive"
ARCHIVED = "archive-entries"
"""Names of settings: the folder's address, and up to which index entries are archived."""

CACHE_BYTES = 48 << 20
"""Memory for tiles that were read, a store."""

_ROW_BYTES = 90
"""What an entry of a tile in memory takes beside its own bytes: an object and its place in a list."""

_HASHES = 'SELECT "index", "hash" FROM "entry" WHERE {}'


class Place(NamedTuple):
    """Where archived entries lie: the folder's address, and the index up to which they do."""

    url: str
    stop: int


class ArchivedEntries:
    """The archive of one store: tiles as they are asked for, the newest asked kept within `CACHE_BYTES`. Threads share it."""

    def __init__(self, place: Callable[[], Place | None], cache_bytes: int = CACHE_BYTES) -> None:
        """``place`` reads where the archive is, as of now and not of any earlier look."""
        self._place_now = place
        self._limit = cache_bytes
        self._lock = threading.Lock()
        self._place = Place("", 0)
        self._objects: Objects | None = None
        self._tiles: OrderedDict[int, list[bytes]] = OrderedDict()
        self._held = 0
        self._next = -1

    def read(self, hashes: Mapping[int, bytes]) -> dict[int, bytes]:
        """The bytes of archived entries, asked by index and leaf hash.

        Raises StoreDamaged, naming the entry, for what is missing or not what its hash says; StoreUnavailable; Unsupported
        where the library is missing.
        """
        wanted: dict[int, list[int]] = {}
        for index in sorted(hashes):
            wanted.setdefault(index // TILE_WIDTH, []).append(index)
        found: dict[int, bytes] = {}
        for numbers in stretches(wanted):
            tiles = self._read_tiles(numbers)
            for number in numbers:
                for index in wanted[number]:
                    found[index] = _checked(tiles[number], index, hashes[index])
        return found

    def _read_tiles(self, numbers: Sequence[int]) -> dict[int, list[bytes]]:
        with self._lock:
            tiles = {number: self._tiles[number] for number in numbers if number in self._tiles}
            for number in tiles:
                self._tiles.move_to_end(number)
            missing = [number for number in numbers if number not in tiles]
            follows = bool(missing) and missing[0] == self._next
            self._next = numbers[-1] + 1
        if missing:
            fresh = self._fetch(missing, ahead=follows)
            tiles.update(fresh)
            self._keep(fresh)
        return tiles

    def _fetch(self, missing: Sequence[int], *, ahead: bool) -> dict[int, list[bytes]]:
        """Tiles from the folder; ``ahead``: who asks goes through the book, so those that follow come along."""
        objects, stop = self._folder(missing[-1])
        numbers = list(missing)
        if ahead:
            numbers += range(missing[-1] + 1, min(missing[-1] + AT_ONCE, stop // TILE_WIDTH))
        try:
            raws = together(lambda number: objects.get(entries_path(number)), numbers)
        except StoreUnavailable:
            moved, _ = self._folder(missing[-1], anew=True)
            if moved is objects:
                raise
            raws = together(lambda number: moved.get(entries_path(number)), numbers)
        return {number: _decoded(raw) for number, raw in zip(numbers, raws, strict=True)}

    def _folder(self, number: int, *, anew: bool = False) -> tuple[Objects, int]:
        with self._lock:
            if anew or self._objects is None or number * TILE_WIDTH >= self._place.stop:
                place = self._place_now()
                if place is None:
                    raise StoreDamaged(
                        "entry has no bytes, and the store names no archive", where=f"entry {number * TILE_WIDTH}"
                    )
                if self._objects is None or place.url != self._place.url:
                    self._objects = Objects(place.url)
                self._place = place
            return self._objects, self._place.stop

    def _keep(self, fresh: Mapping[int, list[bytes]]) -> None:
        with self._lock:
            for number, entries in fresh.items():
                if number not in self._tiles:
                    self._tiles[number] = entries
                    self._held += _weight(entries)
            while self._held > self._limit and len(self._tiles) > 1:
                _, entries = self._tiles.popitem(last=False)
                self._held -= _weight(entries)


def filled(
    transaction: Transaction, rows: list[tuple[Any, ...]], *, index: int = 0, raw: int = 1
) -> list[tuple[Any, ...]]:
    """Rows of entries with the bytes of archived ones put in; ``index`` and ``raw``: the places of the two in a row.

    Raises what `ArchivedEntries.read` does.
    """
    archive = transaction.archived
    if archive is None:
        return rows
    wanted = [row[index] for row in rows if row[raw] is None]
    if not wanted:
        return rows
    hashes = dict(transaction.rows_of(_HASHES.format(transaction.dialect.any_of('"index"')), wanted))
    found = archive.read(hashes)
    return [(*row[:raw], found[row[index]], *row[raw + 1 :]) if row[raw] is None else row for row in rows]


def _weight(entries: Sequence[bytes]) -> int:
    return sum(map(len, entries)) + _ROW_BYTES * len(entries)


def _decoded(raw: bytes | None) -> list[bytes]:
    """The entries of a tile; fewer where it is missing or none, which is told of the entry that is asked for."""
    try:
        return [] if raw is None else decode_entries_tile(raw)
    except LedgerError:
        return []


def _checked(entries: Sequence[bytes], index: int, digest: bytes) -> bytes:
    number, place = divmod(index, TILE_WIDTH)
    if len(entries) != TILE_WIDTH:
        raise _damaged("archived tile is missing or cannot be read", index, number)
    if entry_hash(entries[place]) != digest:
        raise _damaged("archived entry is not what its hash says", index, number)
    return entries[place]


def _damaged(problem: str, index: int, number: int) -> StoreDamaged:
    return StoreDamaged(
        problem,
        where=f"entry {index}, {entries_path(number)}",
        mend="put the object back as it was, from a version or a copy of the archive",
    )
