"""Hash tiles as rows: level 0 once full, higher levels as wide as they are; the last hashes come from the entries.

So a single append writes no tile, and a proof reads O(log n) rows. Geometry: C2SP tlog-tiles, see `ledger.book.tiles`.
"""

from __future__ import annotations

from collections.abc import Sequence

from ledger.book.frontier import Frontier
from ledger.book.merkle import HASH_BYTES, root
from ledger.book.tiles import TILE_HEIGHT, TILE_WIDTH
from ledger.errors import StoreDamaged
from ledger.store.transaction import Transaction

FULL = TILE_WIDTH * HASH_BYTES

_UPSERT = (
    'INSERT INTO "tile" ("level", "number", "width", "hashes") VALUES (?, ?, ?, ?) '
    'ON CONFLICT ("level", "number") DO UPDATE SET "width" = excluded."width", "hashes" = excluded."hashes"'
)
_HASHES = 'SELECT "hash" FROM "entry" WHERE "index" >= ? AND "index" < ? ORDER BY "index"'

Tile = tuple[int, int, int, bytes]
"""Level, number within the level, width, hashes."""


class Edge:
    """The tile at the right edge of each level, as far as it is filled (fewer than 256 hashes each)."""

    def __init__(self, size: int = 0, levels: Sequence[bytes] = ()) -> None:
        """``levels`` from level 0 up; ``size`` leaves."""
        self.size = size
        self._levels = [bytearray(level) for level in levels]

    def append(self, leaf_hashes: Sequence[bytes]) -> list[Tile]:
        """Take new leaves in; the tiles to store for them, full or wider than before. O(n)."""
        tiles: list[Tile] = []
        grown: set[int] = set()
        for leaf in leaf_hashes:
            self._push(0, leaf, tiles, grown)
            self.size += 1
        for level in sorted(grown):
            hashes = bytes(self._levels[level])
            if level and hashes:
                number = self.size >> (TILE_HEIGHT * (level + 1))
                tiles.append((level, number, len(hashes) // HASH_BYTES, hashes))
        return tiles

    def _push(self, level: int, digest: bytes, tiles: list[Tile], grown: set[int]) -> None:
        if level == len(self._levels):
            self._levels.append(bytearray())
        held = self._levels[level]
        held += digest
        grown.add(level)
        if len(held) == FULL:
            hashes = bytes(held)
            tiles.append((level, self.size >> (TILE_HEIGHT * (level + 1)), TILE_WIDTH, hashes))
            held.clear()
            self._push(level + 1, root(split_hashes(hashes)), tiles, grown)

    def frontier(self) -> Frontier:
        """The frontier that these hashes give: for each level its complete subtrees, largest first."""
        roots: list[bytes] = []
        for level in reversed(self._levels):
            hashes = split_hashes(bytes(level))
            start, width = 0, len(hashes)
            for bit in reversed(range(TILE_HEIGHT)):
                if width >> bit & 1:
                    roots.append(root(hashes[start : start + (1 << bit)]))
                    start += 1 << bit
        return Frontier(self.size, tuple(roots))


def split_hashes(raw: bytes) -> list[bytes]:
    """The 32-byte hashes of a tile."""
    return [raw[at : at + HASH_BYTES] for at in range(0, len(raw), HASH_BYTES)]


def load_edge(transaction: Transaction, size: int) -> Edge:
    """Read the edge of a store with ``size`` entries: one tile a level. Raises StoreDamaged when one is missing."""
    wanted: list[tuple[int, int, int]] = []
    level = 0
    while size >> (TILE_HEIGHT * level):
        hashes = size >> (TILE_HEIGHT * level)
        wanted.append((level, hashes // TILE_WIDTH, hashes % TILE_WIDTH))
        level += 1
    present = [tile for tile in wanted if tile[2]]
    found = dict(zip(present, StoredTiles(transaction).read_tiles(present), strict=True))
    return Edge(size, [found.get(tile, b"") for tile in wanted])


def store_tiles(transaction: Transaction, tiles: Sequence[Tile]) -> None:
    """Enter tiles, or widen the ones that stand; a full one is never replaced (trigger)."""
    if tiles:
        transaction.put_many(_UPSERT, tiles)


class StoredTiles:
    """A `ledger.book.tiles.HashReader` over one transaction."""

    def __init__(self, transaction: Transaction) -> None:
        """Read within ``transaction``."""
        self._transaction = transaction

    def read_tiles(self, wanted: Sequence[tuple[int, int, int]]) -> list[bytes]:
        """Hashes of each (level, number, width), in one query for the rows and one for the newest leaves."""
        stored = self._rows([(level, number) for level, number, _ in wanted])
        return [self._cut(tile, stored) for tile in wanted]

    def _rows(self, places: Sequence[tuple[int, int]]) -> dict[tuple[int, int], bytes]:
        if not places:
            return {}
        condition = " OR ".join('("level" = ? AND "number" = ?)' for _ in places)
        found = self._transaction.rows(
            f'SELECT "level", "number", "hashes" FROM "tile" WHERE {condition}',
            [part for place in places for part in place],
        )
        return {(level, number): hashes for level, number, hashes in found}

    def _cut(self, tile: tuple[int, int, int], stored: dict[tuple[int, int], bytes]) -> bytes:
        level, number, width = tile
        hashes = stored.get((level, number))
        if hashes is None and level == 0:
            first = number * TILE_WIDTH
            hashes = b"".join(found[0] for found in self._transaction.rows(_HASHES, (first, first + width)))
        if hashes is None or len(hashes) < width * HASH_BYTES:
            raise StoreDamaged("hash tile is missing or too short", where=f"level {level}, tile {number}", got=width)
        return hashes[: width * HASH_BYTES]
