"""Tiles: the tree and the entries as files that never change. Source: C2SP tlog-tiles v0.1.0.

A hash tile holds up to 256 hashes of one tree level, 32 bytes each; level 0 holds leaf hashes, and a hash of
level l+1 is the root of one full tile of level l. Path ``tile/<L>/<N>[.p/<W>]``; ``<N>`` in groups of three
digits, all but the last with ``x`` before (1234067 is ``x001/x234/067``); ``.p/<W>`` marks a tile of W < 256.
An entries tile ``tile/entries/<N>[.p/<W>]`` holds ``u16be length || entry`` for each entry.

Proofs are made from tiles through a ``HashReader``: O(log n) tiles, each asked for once, in one call.
Where tiles are stored, and who may read entries tiles, is not decided here.
"""

from __future__ import annotations

import re
from functools import lru_cache
from hashlib import sha256
from struct import Struct
from typing import TYPE_CHECKING, NamedTuple, Protocol

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.merkle import EMPTY_ROOT, HASH_BYTES, consistency_ranges, inclusion_ranges, node_hash
from ledger.errors import MalformedTile, TooLarge

if TYPE_CHECKING:
    from collections.abc import Sequence

TILE_WIDTH = 256
TILE_HEIGHT = 8
MAX_TILE_LEVEL = 63

_INDEX = r"((?:x[0-9]{3}/){0,6}[0-9]{3})"
_PARTIAL = r"(?:\.p/([1-9][0-9]{0,2}))?"
_TILE_PATH = re.compile(rf"tile/(0|[1-9][0-9]?)/{_INDEX}{_PARTIAL}", re.ASCII)
_ENTRIES_PATH = re.compile(rf"tile/entries/{_INDEX}{_PARTIAL}", re.ASCII)


class TileAddress(NamedTuple):
    """One hash tile: its level, its place within the level, and how many hashes it holds (1 to 256)."""

    level: int
    tile_index: int
    width: int


class HashReader(Protocol):
    """Where tiles are read from."""

    def read_tiles(self, wanted: Sequence[tuple[int, int, int]]) -> Sequence[bytes]:
        """Give for each (level, index, width) exactly width x 32 bytes, in the order asked.

        A reader that holds a wider tile at that place gives its first ``width`` hashes.
        """
        ...


def tile_path(level: int, index: int, width: int = TILE_WIDTH) -> str:
    """Give the path of a hash tile; raises MalformedTile for a level, index or width that no tile has."""
    if not 0 <= level <= MAX_TILE_LEVEL:
        raise MalformedTile("tile level is out of range", expected=f"0 to {MAX_TILE_LEVEL}", got=level)
    return f"tile/{level}/{_format_place(index, width)}"


def parse_tile_path(text: str) -> TileAddress:
    """Read the path of a hash tile in its one form; raises MalformedTile."""
    match = _TILE_PATH.fullmatch(text)
    if match is None:
        raise MalformedTile("tile path has another form", expected="tile/<L>/<N>[.p/<W>]", got=text)
    index, width = _parse_place(match.group(2), match.group(3))
    address = TileAddress(int(match.group(1)), index, width)
    if address.level > MAX_TILE_LEVEL or tile_path(*address) != text:
        raise MalformedTile("tile path is not in its one form", got=text)
    return address


def entries_path(index: int, width: int = TILE_WIDTH) -> str:
    """Give the path of an entries tile; raises MalformedTile for an index or width that no tile has."""
    return f"tile/entries/{_format_place(index, width)}"


def parse_entries_path(text: str) -> tuple[int, int]:
    """Read the path of an entries tile as (index, width); raises MalformedTile."""
    match = _ENTRIES_PATH.fullmatch(text)
    if match is None:
        raise MalformedTile("entries path has another form", expected="tile/entries/<N>[.p/<W>]", got=text)
    index, width = _parse_place(match.group(1), match.group(2))
    if entries_path(index, width) != text:
        raise MalformedTile("entries path is not in its one form", got=text)
    return index, width


def tile_width(tree_size: int, level: int, index: int) -> int:
    """How many hashes tile ``index`` of ``level`` holds in a tree of ``tree_size``; 0 when there is none."""
    return max(0, min(TILE_WIDTH, (tree_size >> (TILE_HEIGHT * level)) - index * TILE_WIDTH))


def encode_entries_tile(entries: Sequence[bytes]) -> bytes:
    """Give the bytes of an entries tile; raises TooLarge for an entry above 65,535 bytes or more than 256 entries."""
    if len(entries) > TILE_WIDTH:
        raise TooLarge("entries tile holds too many entries", expected=f"at most {TILE_WIDTH}", got=len(entries))
    parts: list[bytes] = []
    for entry in entries:
        if len(entry) > MAX_ENTRY_BYTES:
            raise TooLarge("entry is too long", expected=f"at most {MAX_ENTRY_BYTES} bytes", got=len(entry))
        parts += (len(entry).to_bytes(2, "big"), entry)
    return b"".join(parts)


def decode_entries_tile(raw: bytes) -> list[bytes]:
    """Read the entries of a tile (1 to 256); raises MalformedTile for anything that is not whole entries."""
    entries: list[bytes] = []
    at = 0
    while at < len(raw):
        start = at + 2
        at = start + int.from_bytes(raw[at:start], "big")
        if start > len(raw) or at > len(raw):
            raise MalformedTile("entries tile ends inside an entry", where=f"entry {len(entries)}")
        entries.append(raw[start:at])
    if not 0 < len(entries) <= TILE_WIDTH:
        raise MalformedTile("entries tile holds another count", expected="1 to 256 entries", got=len(entries))
    return entries


def root_from_tiles(reader: HashReader, tree_size: int) -> bytes:
    """Root of the first ``tree_size`` leaves; raises MalformedTile when a tile has another length."""
    if tree_size == 0:
        return EMPTY_ROOT
    return _range_roots(reader, tree_size, [(0, tree_size)])[0]


def prove_inclusion_from_tiles(reader: HashReader, index: int, tree_size: int) -> list[bytes]:
    """Give what ``merkle.prove_inclusion`` gives, from O(log n) tiles. Raises NotFound, MalformedTile."""
    return _range_roots(reader, tree_size, inclusion_ranges(index, tree_size))


def prove_consistency_from_tiles(reader: HashReader, old_size: int, new_size: int) -> list[bytes]:
    """Give what ``merkle.prove_consistency`` gives, from O(log n) tiles. Raises NotFound, MalformedTile."""
    return _range_roots(reader, new_size, consistency_ranges(old_size, new_size))


_KEPT_FROM = 32 * HASH_BYTES
"""Bytes of hashes from which on the root over them is remembered, in tiles that serve many entries: at most 4 KiB a root."""


_pairs = Struct(f"{2 * HASH_BYTES}s").iter_unpack


class _Node(NamedTuple):
    """A complete subtree as a slice [start, stop) of the hashes of one tile."""

    tile: TileAddress
    start: int
    stop: int


def _range_roots(reader: HashReader, tree_size: int, ranges: list[tuple[int, int]]) -> list[bytes]:
    """Roots of leaf ranges as RFC 9162 cuts them, reading every tile that is needed in one call."""
    plans = [_complete_nodes(start, stop, tree_size) for start, stop in ranges]
    wanted = list(dict.fromkeys(node.tile for plan in plans for node in plan))
    if not wanted:
        return []
    found = reader.read_tiles(wanted)
    if len(found) != len(wanted):
        raise MalformedTile("reader gave another count of tiles", expected=len(wanted), got=len(found))
    tiles = dict(zip(wanted, found, strict=True))
    for address, raw in tiles.items():
        if len(raw) != address.width * HASH_BYTES:
            raise MalformedTile("tile has another length", where=tile_path(*address), got=len(raw))
    return [_fold([_node_root(tiles[node.tile], node) for node in plan]) for plan in plans]


def _complete_nodes(start: int, stop: int, tree_size: int) -> list[_Node]:
    """Cut a range into complete subtrees, largest first; ``start`` is aligned to the largest."""
    nodes: list[_Node] = []
    while start < stop:
        height = (stop - start).bit_length() - 1
        level, within = divmod(height, TILE_HEIGHT)
        first = start >> (TILE_HEIGHT * level)
        index, offset = divmod(first, TILE_WIDTH)
        tile = TileAddress(level, index, tile_width(tree_size, level, index))
        nodes.append(_Node(tile, offset, offset + (1 << within)))
        start += 1 << height
    return nodes


def _node_root(raw: bytes, node: _Node) -> bytes:
    hashes = raw[node.start * HASH_BYTES : node.stop * HASH_BYTES]
    if len(hashes) >= _KEPT_FROM and (node.tile.level or node.tile.width < TILE_WIDTH):
        return _kept_root(hashes)
    return _complete_root(hashes)


# A tile above the lowest serves tens of thousands of entries, and the end of the lowest level all of them, so their larger
# parts are asked for again and again.
@lru_cache(maxsize=4_096)
def _kept_root(hashes: bytes) -> bytes:
    return _complete_root(hashes)


def _complete_root(hashes: bytes) -> bytes:
    """Root over the hashes of a complete subtree, one after another: a power of two of them."""
    while len(hashes) > HASH_BYTES:
        hashes = b"".join([sha256(b"\x01" + pair).digest() for (pair,) in _pairs(hashes)])
    return hashes


def _fold(roots: list[bytes]) -> bytes:
    running = roots[-1]
    for left in reversed(roots[:-1]):
        running = node_hash(left, running)
    return running


def _format_place(index: int, width: int) -> str:
    if index < 0 or not 0 < width <= TILE_WIDTH:
        raise MalformedTile("tile index or width is out of range", got=f"index {index}, width {width}")
    index, last = divmod(index, 1_000)
    place = f"{last:03d}"
    while index:
        index, group = divmod(index, 1_000)
        place = f"x{group:03d}/{place}"
    return place if width == TILE_WIDTH else f"{place}.p/{width}"


def _parse_place(place: str, partial: str | None) -> tuple[int, int]:
    width = TILE_WIDTH if partial is None else int(partial)
    if width > TILE_WIDTH:
        raise MalformedTile("tile is too wide", expected=f"at most {TILE_WIDTH}", got=width)
    return int(place.replace("x", "").replace("/", "")), width
