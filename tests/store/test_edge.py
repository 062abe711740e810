"""The right edge of the stored tree against the tree itself."""

from __future__ import annotations

import hashlib

from hypothesis import given
from hypothesis import strategies as st

from ledger.book import merkle
from ledger.store.tiles import Edge, Tile, split_hashes

LEAVES = [hashlib.sha256(n.to_bytes(4, "big")).digest() for n in range(70_000)]


@given(st.lists(st.integers(min_value=0, max_value=700), max_size=6))
def test_the_frontier_is_that_of_all_leaves_however_they_come(groups: list[int]) -> None:
    """Appended in groups of any size, the edge gives the root of all leaves so far."""
    edge, size = Edge(), 0
    for group in groups:
        edge.append(LEAVES[size : size + group])
        size += group
    assert (size, merkle.root(LEAVES[:size])) == (edge.frontier().size, edge.frontier().root())


def test_three_levels_of_tiles_hold_the_tree() -> None:
    """Beyond 65,536 leaves a third level begins, and every stored tile has the hashes of its place."""
    edge = Edge()
    stored: dict[tuple[int, int], Tile] = {}
    for start in range(0, len(LEAVES), 1_000):
        for tile in edge.append(LEAVES[start : start + 1_000]):
            stored[tile[0], tile[1]] = tile
    assert {0: 273, 1: 2, 2: 1} == {level: sum(place[0] == level for place in stored) for level in (0, 1, 2)}
    assert (256, 17, 1) == (stored[1, 0][2], stored[1, 1][2], stored[2, 0][2])
    assert [merkle.root(LEAVES[:65_536])] == split_hashes(stored[2, 0][3])
    assert [merkle.root(LEAVES[n * 256 : (n + 1) * 256]) for n in range(256, 273)] == split_hashes(stored[1, 1][3])
    assert merkle.root(LEAVES) == edge.frontier().root()


def test_an_edge_read_back_goes_on_the_same() -> None:
    """An edge made from its own levels grows as the first one does."""
    edge = Edge()
    edge.append(LEAVES[:1_000])
    again = Edge(
        1_000, [b"".join(LEAVES[768:1_000]), b"".join(merkle.root(LEAVES[n : n + 256]) for n in (0, 256, 512))]
    )
    assert edge.append(LEAVES[1_000:1_100]) == again.append(LEAVES[1_000:1_100])
    assert edge.frontier() == again.frontier()
