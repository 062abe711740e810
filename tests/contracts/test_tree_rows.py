"""Tiles and proofs as stored, over more entries than one tile holds."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import wait

import pytest

from ledger.book import merkle
from ledger.book.checkpoint import parse_checkpoint
from ledger.book.receipt import check_receipt
from ledger.book.tiles import root_from_tiles
from ledger.errors import NotFound
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.tiles import StoredTiles, load_edge
from ledger.store.writer import Writer
from tests.plant import VERIFIER, opening, said

COUNT = 600


@pytest.fixture
def long_book(store: Store, start: Callable[..., Writer]) -> Writer:
    """A book of 600 entries, written in groups of at most 97."""
    writer = start(group_limit=97)
    futures = [writer.submit(opening(), "a-lead")]
    for number in range(1, COUNT):
        model = {
            "kind": "gauge-registered", "at": "2026-03-02T08:00:00.000+00:00", "gauge": f"G{number}", "quantity": "mass",
            "unit": "lb", "resolution": "0.01",
        }  # fmt: skip
        futures.append(writer.submit(said(f"gauge-{number}", model), "a-lead"))
    wait(futures, 60)
    return writer


def test_tiles_and_proofs_agree_with_the_tree(store: Store, long_book: Writer) -> None:
    """Roots of many sizes, receipts of many entries and consistency proofs from the stored tiles are the tree's own."""
    with open_reader(store) as reader:
        entries = list(reader.entries(0, COUNT))
        hashes = [entry.hash for entry in entries]
        tiles = StoredTiles(reader.transaction)
        for size in (1, 2, 255, 256, 257, 511, 512, 513, 599, 600):
            assert merkle.root(hashes[:size]) == root_from_tiles(tiles, size)
            assert merkle.prove_consistency(hashes, size, COUNT) == reader.consistency(size, COUNT)
        note = long_book.checkpoint
        for index in (0, 1, 255, 256, 511, 512, 598, 599):
            check_receipt(reader.receipt(index, note), entries[index].bytes, [VERIFIER])
        assert load_edge(reader.transaction, COUNT).frontier().root() == merkle.root(hashes)


def test_only_full_leaf_tiles_are_stored(store: Store, long_book: Writer) -> None:
    """600 entries make two full tiles of leaves and one of their roots; the other 88 hashes come from the entries."""
    with store.reading() as transaction:
        rows = transaction.rows('SELECT "level", "number", "width" FROM "tile" ORDER BY 1, 2')
    assert ([(0, 0, 256), (0, 1, 256), (1, 0, 2)], COUNT) == (
        rows,
        parse_checkpoint(long_book.checkpoint or b"").tree_size,
    )


def test_a_hash_tile_is_served_at_its_width(store: Store, long_book: Writer) -> None:
    """Full and partial tiles come with exactly the hashes asked for; a tile beyond the tree is not found."""
    with open_reader(store) as reader:
        hashes = [entry.hash for entry in reader.entries(0, COUNT)]
        assert b"".join(hashes[256:512]) == reader.hash_tile(0, 1, 256)
        assert b"".join(hashes[512:600]) == reader.hash_tile(0, 2, 88)
        assert b"".join(hashes[512:520]) == reader.hash_tile(0, 2, 8)
        assert b"".join(merkle.root(hashes[at : at + 256]) for at in (0, 256)) == reader.hash_tile(1, 0, 2)
        for level, number, width in ((0, 2, 89), (0, 3, 1), (1, 0, 3), (2, 0, 1)):
            with pytest.raises(NotFound):
                reader.hash_tile(level, number, width)


def test_what_is_not_in_the_book_is_not_found(store: Store, long_book: Writer) -> None:
    """Entries, receipts and proofs beyond the end are told as such."""
    long_book.stop()
    with open_reader(store) as reader:
        for ask in (
            lambda: reader.entry(COUNT),
            lambda: reader.receipt(COUNT),
            lambda: reader.consistency(1, COUNT + 1),
            lambda: reader.receipt(-1),
        ):
            with pytest.raises(NotFound):
                ask()
        assert [] == list(reader.entries(COUNT, COUNT + 5))


def test_a_restart_in_mid_tile_goes_on(long_book: Writer, start: Callable[..., Writer]) -> None:
    """The edge that is read at the start grows into the same tree."""
    long_book.stop()
    again = start()
    entered = again.submit(said("more", _gauge()), "a-lead").result(30)
    check_receipt(entered.receipt, entered.entry_bytes, [VERIFIER])


def _gauge() -> dict[str, str]:
    return {
        "kind": "gauge-registered", "at": "2026-03-02T08:00:00.000+00:00", "gauge": "MORE", "quantity": "mass", "unit": "lb",
        "resolution": "0.01",
    }  # fmt: skip
