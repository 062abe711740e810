"""The whole tree from its leaf tiles alone: roots at any size, and consistency proofs.

Higher tiles are made here from the leaves (C2SP tlog-tiles: a hash of level l+1 is the root of one full tile of level l),
so nothing rests on higher tiles that somebody else made. One pass over n leaves; keeps n/256 hashes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from ledger.book.frontier import Frontier
from ledger.book.merkle import HASH_BYTES, root
from ledger.book.tiles import TILE_WIDTH, tile_path
from ledger.errors import RootMismatch

ReadTile = Callable[[int, int], bytes]
"""Gives the first ``width`` hashes of leaf tile ``number``, as one row of bytes."""


def leaves_of(read: ReadTile, size: int, start: int = 0) -> Iterator[list[bytes]]:
    """The leaf hashes from the tile that holds ``start`` up to ``size``, a tile at a time. Raises RootMismatch."""
    for number in range(start // TILE_WIDTH, -(-size // TILE_WIDTH)):
        width = min(TILE_WIDTH, size - number * TILE_WIDTH)
        yield split_leaves(read(number, width), number, width)


def split_leaves(raw: bytes, number: int, width: int) -> list[bytes]:
    """The hashes of a leaf tile of ``width``. Raises RootMismatch for another length."""
    if len(raw) != width * HASH_BYTES:
        where = tile_path(0, number, width)
        raise RootMismatch("tile has another length", expected=width * HASH_BYTES, got=len(raw), where=where)
    return [raw[at : at + HASH_BYTES] for at in range(0, len(raw), HASH_BYTES)]


def frontier_of(read: ReadTile, size: int) -> Frontier:
    """The frontier of the first ``size`` leaves. Raises RootMismatch."""
    frontier = Frontier()
    for part in leaves_of(read, size):
        frontier = frontier.append(part)
    return frontier


class LeafTiles:
    """A `ledger.book.tiles.HashReader` over leaf tiles: the higher levels are made once, when this is."""

    def __init__(self, read: ReadTile, size: int) -> None:
        """One pass over ``size`` leaves. Raises RootMismatch."""
        self._read = read
        self._levels: list[list[bytes]] = []
        full = size // TILE_WIDTH * TILE_WIDTH
        hashes = [root(part) for part in leaves_of(read, full)]
        while hashes:
            self._levels.append(hashes)
            count = len(hashes) // TILE_WIDTH
            hashes = [root(hashes[at * TILE_WIDTH : (at + 1) * TILE_WIDTH]) for at in range(count)]

    def read_tiles(self, wanted: Sequence[tuple[int, int, int]]) -> list[bytes]:
        """The hashes of each (level, number, width)."""
        return [self._tile(*tile) for tile in wanted]

    def _tile(self, level: int, number: int, width: int) -> bytes:
        if level == 0:
            return self._read(number, width)
        first = number * TILE_WIDTH
        return b"".join(self._levels[level - 1][first : first + width])


def first_difference_of(one: ReadTile, other: ReadTile, size: int) -> int | None:
    """The first index below ``size`` whose leaf hashes differ between the two; None where none does."""
    at = 0
    for mine, theirs in zip(leaves_of(one, size), leaves_of(other, size), strict=True):
        if mine != theirs:
            return at + next(place for place, pair in enumerate(zip(mine, theirs, strict=True)) if pair[0] != pair[1])
        at += len(mine)
    return None
