"""Tiles: paths in one form, entries whole, proofs the same as from leaves."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.merkle import prove_consistency, prove_inclusion, root
from ledger.book.tiles import (
    TILE_WIDTH,
    TileAddress,
    decode_entries_tile,
    encode_entries_tile,
    entries_path,
    parse_entries_path,
    parse_tile_path,
    prove_consistency_from_tiles,
    prove_inclusion_from_tiles,
    root_from_tiles,
    tile_path,
    tile_width,
)
from ledger.errors import MalformedTile, NotFound, TooLarge
from tests.book.samples import leaves

LEAVES = leaves(70_000)
TOP = [root(LEAVES[start : start + 256]) for start in range(0, 69_888, 256)]
LEVELS = [LEAVES, TOP, [root(TOP[:256])]]


class LeafReader:
    """Tiles cut from leaves in memory; keeps what was asked for."""

    def __init__(self) -> None:
        """Start with nothing asked."""
        self.asked: list[tuple[int, int, int]] = []

    def read_tiles(self, wanted: Sequence[tuple[int, int, int]]) -> list[bytes]:
        """Give the tiles as the contract has it."""
        self.asked += wanted
        return [b"".join(LEVELS[level][index * 256 : index * 256 + width]) for level, index, width in wanted]


class ShortReader(LeafReader):
    """A reader that loses the last hash of each tile, or the last tile."""

    def __init__(self, *, lose_tile: bool) -> None:
        """Choose what is lost."""
        super().__init__()
        self.lose_tile = lose_tile

    def read_tiles(self, wanted: Sequence[tuple[int, int, int]]) -> list[bytes]:
        """Give too little."""
        tiles = super().read_tiles(wanted)
        return tiles[:-1] if self.lose_tile else [raw[:-32] for raw in tiles]


sizes = st.integers(1, 2_000) | st.sampled_from([1, 255, 256, 257, 511, 512, 65_535, 65_536, 65_537, 65_792, 70_000])


@given(sizes, st.data())
def test_inclusion_proofs_from_tiles_are_those_from_leaves(size: int, draw: st.DataObject) -> None:
    """The same bytes, and no tile is asked for twice."""
    index = draw.draw(st.integers(0, size - 1) | st.sampled_from([0, size - 1]))
    reader = LeafReader()

    assert prove_inclusion(LEAVES, index, size) == prove_inclusion_from_tiles(reader, index, size)
    assert len(set(reader.asked)) == len(reader.asked) <= 6


@given(sizes, st.data())
def test_consistency_proofs_from_tiles_are_those_from_leaves(size: int, draw: st.DataObject) -> None:
    """The same bytes, and no tile is asked for twice."""
    old = draw.draw(st.integers(1, size))
    reader = LeafReader()

    assert prove_consistency(LEAVES, old, size) == prove_consistency_from_tiles(reader, old, size)
    assert len(set(reader.asked)) == len(reader.asked) <= 6


@given(sizes | st.just(0))
def test_roots_from_tiles_are_those_from_leaves(size: int) -> None:
    """The root needs the right edge of each level only."""
    reader = LeafReader()

    assert root(LEAVES[:size]) == root_from_tiles(reader, size)
    assert len(reader.asked) <= 3


@pytest.mark.parametrize("lose_tile", [True, False])
def test_a_reader_that_gives_too_little_is_found_out(*, lose_tile: bool) -> None:
    """A short or missing tile is an error, never another proof."""
    with pytest.raises(MalformedTile):
        prove_inclusion_from_tiles(ShortReader(lose_tile=lose_tile), 3, 1_000)


def test_leaves_outside_the_tree_are_not_proved() -> None:
    """The same refusals as from leaves."""
    with pytest.raises(NotFound):
        prove_inclusion_from_tiles(LeafReader(), 5, 5)
    with pytest.raises(NotFound):
        prove_consistency_from_tiles(LeafReader(), 0, 5)


@given(st.integers(0, 63), st.integers(0, 10**15), st.integers(1, 256))
def test_parse_undoes_path(level: int, index: int, width: int) -> None:
    """Reading a path gives what it was made of."""
    assert TileAddress(level, index, width) == parse_tile_path(tile_path(level, index, width))
    assert (index, width) == parse_entries_path(entries_path(index, width))


@given(st.from_regex(r"\Atile/[0-9a-z]{1,7}/[x0-9/]{1,12}(\.p/[0-9]{1,3})?\Z"))
def test_any_path_has_one_form_or_is_refused(text: str) -> None:
    """A path that is read is written the same again."""
    try:
        address = parse_tile_path(text)
    except MalformedTile:
        return
    assert text == tile_path(*address)


@pytest.mark.parametrize(
    "text",
    ["tile/entries/1", "tile/entries/000.p/0", "tile/entries/000.p/256", "tile/entries/000.p/01", "tile/entries/x000/001",
     "tile/entries/000/", "tile/0/000", "tile/entries/000.p/257", "tile/entries/٠٠٠"],
)  # fmt: skip
def test_entries_paths_of_another_form_are_refused(text: str) -> None:
    """One tile has one path."""
    with pytest.raises(MalformedTile):
        parse_entries_path(text)


@pytest.mark.parametrize(("level", "index", "width"), [(-1, 0, 1), (64, 0, 1), (0, -1, 1), (0, 0, 0), (0, 0, 257)])
def test_tiles_that_cannot_be_have_no_path(level: int, index: int, width: int) -> None:
    """Levels are 0 to 63, widths 1 to 256."""
    with pytest.raises(MalformedTile):
        tile_path(level, index, width)


@given(st.lists(st.binary(max_size=40), min_size=1, max_size=TILE_WIDTH))
def test_decode_undoes_encode(entries: list[bytes]) -> None:
    """Entries come back as they were, empty ones too."""
    assert entries == decode_entries_tile(encode_entries_tile(entries))


@given(st.binary(max_size=200))
def test_any_bytes_are_an_entries_tile_or_are_refused(raw: bytes) -> None:
    """Arbitrary bytes raise the one error, or are whole entries."""
    try:
        entries = decode_entries_tile(raw)
    except MalformedTile:
        return
    assert raw == encode_entries_tile(entries)


def test_entries_tiles_have_limits() -> None:
    """At most 256 entries of at most 65,535 bytes, and at least one on reading."""
    assert [b"x" * 65_535] == decode_entries_tile(encode_entries_tile([b"x" * 65_535]))
    with pytest.raises(TooLarge):
        encode_entries_tile([b"x" * 65_536])
    with pytest.raises(TooLarge):
        encode_entries_tile([b""] * 257)
    with pytest.raises(MalformedTile):
        decode_entries_tile(b"\x00\x00" * 257)
    with pytest.raises(MalformedTile):
        decode_entries_tile(b"")


@pytest.mark.parametrize(
    ("size", "level", "index", "width"), [(70_000, 0, 273, 112), (70_000, 0, 0, 256), (255, 1, 0, 0), (0, 0, 0, 0)]
)
def test_widths_follow_from_the_size(size: int, level: int, index: int, width: int) -> None:
    """A partial tile is as wide as the tree reaches; a partial tile is not hashed into the level above."""
    assert width == tile_width(size, level, index)
