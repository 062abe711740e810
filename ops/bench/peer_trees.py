"""The tree of ``pymerkle`` beside ours, over the same leaves: time to build, time to prove, and that both are one tree.

It hashes leaves and nodes with the prefixes of RFC 9162, as ours does, and keeps every node in memory; it is under the GPL,
so it is here for measurements alone.  Ours keeps hash tiles of 256, here in memory too.
"""

from __future__ import annotations

import importlib
import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from ledger.book.frontier import Frontier
from ledger.book.merkle import HASH_BYTES, leaf_hash
from ledger.book.tiles import TILE_WIDTH, prove_inclusion_from_tiles
from ledger.errors import RootMismatch
from ledger.store.tiles import Edge
from ops.bench.entries_book import number_in
from ops.bench.field import Field
from ops.bench.figures import Row, rate, ratios
from ops.bench.raw_route import GROUP_LIMIT

PROOFS = 400


class TreeInMemory:
    """What the writer keeps of a tree, group by group, without a store: hashes, frontier, tiles."""

    def __init__(self, leaves: Sequence[bytes]) -> None:
        """Take the leaves, `GROUP_LIMIT` together."""
        self.size = len(leaves)
        self._hashes: list[bytes] = []
        self._tiles: dict[tuple[int, int], bytes] = {}
        edge, frontier = Edge(), Frontier()
        for start in range(0, len(leaves), GROUP_LIMIT):
            group = [leaf_hash(leaf) for leaf in leaves[start : start + GROUP_LIMIT]]
            frontier = frontier.append(group)
            for level, number, _, hashes in edge.append(group):
                self._tiles[level, number] = hashes
            self._hashes += group
        self.root = frontier.root()

    def read_tiles(self, wanted: Sequence[tuple[int, int, int]]) -> list[bytes]:
        """As a store reads them: the newest leaves have no tile yet."""
        found = []
        for level, number, width in wanted:
            hashes = self._tiles.get((level, number))
            if hashes is None:
                first = number * TILE_WIDTH
                hashes = b"".join(self._hashes[first : first + width])
            found.append(hashes[: width * HASH_BYTES])
        return found

    def prove(self, index: int) -> list[bytes]:
        """The inclusion proof of a leaf in the whole tree."""
        return prove_inclusion_from_tiles(self, index, self.size)


def measure_trees(field: Field) -> list[Row]:
    """Both in turn, ``rounds`` times; roots and proofs must agree."""
    library: Any = importlib.import_module("pymerkle")
    count = field.sizes.leaves
    leaves = [b"entry %09d" % number for number in range(count)]
    asked = [number_in(count, question) for question in range(PROOFS)]
    built: tuple[list[float], list[float]] = ([], [])
    proved: tuple[list[float], list[float]] = ([], [])
    for _ in range(field.sizes.rounds):
        peer = library.InmemoryTree(algorithm="sha256")
        seconds, _made = _timed(partial(_append, peer, leaves))
        built[1].append(count / seconds)
        seconds, tree = _timed(partial(TreeInMemory, leaves))
        built[0].append(count / seconds)
        seconds, proofs = _timed(partial(_prove, tree.prove, asked))
        proved[0].append(PROOFS / seconds)
        seconds, theirs = _timed(partial(_prove, peer.prove_inclusion, [one + 1 for one in asked]))
        proved[1].append(PROOFS / seconds)
        # The peer's path begins with the leaf itself.
        check_same(tree.root, peer.get_state(), proofs, [list(one.path[1:]) for one in theirs])
    return [
        Row(what=f"tree of {count:,} leaves in memory: hashes, frontier and tiles", measured=rate(built[0]),
            floor=f"pymerkle, every node kept {rate(built[1])}", ratio=ratios(*built)[1]),
        Row(what="inclusion proofs from tiles, in memory", measured=rate(proved[0]),
            floor=f"pymerkle, from its nodes {rate(proved[1])}", ratio=ratios(*proved)[1]),
        Row(what="the root, and every proof asked for", measured="the same as pymerkle's", target="the same", reached=True),
    ]  # fmt: skip


def check_same(root: bytes, theirs: bytes, proofs: Sequence[list[bytes]], their_proofs: Sequence[list[bytes]]) -> None:
    """Raises RootMismatch where the two libraries give another root or another proof."""
    if theirs != root:
        raise RootMismatch("the peer gives another root", expected=root.hex(), got=theirs.hex())
    for place, (ours, other) in enumerate(zip(proofs, their_proofs, strict=True)):
        if ours != other:
            raise RootMismatch("the peer gives another proof", where=f"question {place}")


def _append(peer: Any, leaves: Sequence[bytes]) -> None:
    for leaf in leaves:
        peer.append_entry(leaf)


def _prove(prove: Callable[[int], Any], asked: Sequence[int]) -> list[Any]:
    return [prove(number) for number in asked]


def _timed(do: Callable[[], Any]) -> tuple[float, Any]:
    began = time.perf_counter()
    given = do()
    return time.perf_counter() - began, given
