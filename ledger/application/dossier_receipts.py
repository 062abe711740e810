"""Receipts of many entries against one checkpoint, from the stored tiles.

Neighbours share most of their paths: each tile is read once and each node worked out once, so that a receipt costs little
more than its text. What is given is what `Reader.receipt` gives.
"""

from __future__ import annotations

from collections.abc import Sequence

from ledger.book.checkpoint import parse_checkpoint
from ledger.book.merkle import HASH_BYTES, inclusion_ranges, node_hash
from ledger.book.receipt import format_receipt
from ledger.book.tiles import TILE_HEIGHT, TILE_WIDTH, tile_width
from ledger.errors import NotFound
from ledger.store.reader import Reader
from ledger.store.tiles import StoredTiles

_KEPT_TILES, _KEPT_NODES = 64, 50_000


class Receipts:
    """Gives receipts against ``note``; indexes may come in any order, and cost least in ascending order."""

    def __init__(self, reader: Reader, note: bytes) -> None:
        """Read within the reader's look, whose tree must hold that of the note."""
        self._note = note
        self._size = parse_checkpoint(note).tree_size
        self._tiles = StoredTiles(reader.transaction)
        self._raw: dict[tuple[int, int], bytes] = {}
        self._nodes: dict[tuple[int, int], bytes] = {}

    def receipt(self, index: int) -> str:
        """The receipt of an entry. Raises NotFound for one that the checkpoint does not cover."""
        if not 0 <= index < self._size:
            raise NotFound("no checkpoint covers the entry", got=index, expected=f"an index below {self._size}")
        return format_receipt(index, self._proof(index), self._note)

    def _proof(self, index: int) -> Sequence[bytes]:
        return [self._root(start, stop) for start, stop in inclusion_ranges(index, self._size)]

    def _root(self, start: int, stop: int) -> bytes:
        """Root of the leaves from ``start`` up to ``stop``, a range as RFC 9162 cuts them."""
        length = stop - start
        height = (length - 1).bit_length()
        is_whole = length == 1 << height
        if is_whole and height % TILE_HEIGHT == 0:
            return self._hash(height // TILE_HEIGHT, start >> height)
        found = self._nodes.get((start, stop))
        if found is None:
            middle = start + (1 << (height - 1))
            found = node_hash(self._root(start, middle), self._root(middle, stop))
            if len(self._nodes) >= _KEPT_NODES:
                self._nodes.clear()
            self._nodes[start, stop] = found
        return found

    def _hash(self, level: int, place: int) -> bytes:
        number, within = divmod(place, TILE_WIDTH)
        raw = self._raw.get((level, number))
        if raw is None:
            if len(self._raw) >= _KEPT_TILES:
                self._raw.clear()
            width = tile_width(self._size, level, number)
            raw = self._raw[level, number] = self._tiles.read_tiles([(level, number, width)])[0]
        return raw[within * HASH_BYTES : (within + 1) * HASH_BYTES]
