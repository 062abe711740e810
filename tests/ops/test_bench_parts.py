"""What the measurements rest on: books of entries alone, parts of processor time, histograms, peers. Nothing here looks at a time."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.histogram import NAME, Histogram
from ledger.book.checkpoint import check_checkpoint
from ledger.book.entry import check_links
from ledger.book.frontier import Frontier
from ledger.book.merkle import EMPTY_ROOT, leaf_hash, prove_inclusion, root
from ledger.errors import RootMismatch, Unsupported
from ledger.store.engine import open_store
from ledger.store.kept_rows import TileCheck
from ledger.store.reader import open_reader
from ops.bench.entries_book import entries_book, number_in
from ops.bench.histograms import quantile_ms, since, together
from ops.bench.parts_timed import PLACES, PartsClock
from ops.bench.peer_trees import TreeInMemory, check_same
from ops.bench.plant import ORIGIN, SIGNERS
from ops.bench.storage import Storage, opened_storage

COUNTS = [[(0.1, 1), (0.2, 3), (float("inf"), 4)], [(0.1, 0), (0.2, 5), (float("inf"), 6)]]


@pytest.fixture(params=["sqlite", "postgresql"])
def storage(request: pytest.FixtureRequest) -> Iterator[Storage]:
    """Either kind of store, in a folder of its own that any user may enter."""
    with tempfile.TemporaryDirectory(prefix="bench-", ignore_cleanup_errors=True) as name:
        try:
            with opened_storage(request.param, Path(name)) as opened:
                yield opened
        except Unsupported as error:
            pytest.skip(str(error))


def test_book_of_entries_alone_is_whole(storage: Storage) -> None:
    """Chain, tree, tiles and checkpoint of a made book check, and a second run finds the same book."""
    url = entries_book(storage, 700)
    assert url == entries_book(storage, 700)
    store = open_store(url)
    with open_reader(store) as reader:
        head, rows = reader.head(), reader.entry_rows(0, 1_000)
        hashes = check_links(EMPTY_ROOT, 0, [raw for _, raw, _ in rows])
        tiles, frontier = TileCheck(reader.transaction), Frontier().append(hashes)
        tiles.append(hashes)
        tiles.finish(frontier)
        receipt = reader.receipt(699)
    store.close()
    checkpoint = check_checkpoint(head.checkpoint or b"", [SIGNERS.checkpoint.verifier], ORIGIN)
    assert (700, frontier.root()) == (checkpoint.tree_size, checkpoint.root_hash)
    assert (hashes, frontier.to_bytes()) == ([kept for kept, _, _ in rows], head.frontier)
    assert receipt.splitlines()[1] == "index 699"


def test_a_book_is_copied_and_removed(storage: Storage) -> None:
    """A copy holds what the book held, on either kind of store, and goes with its folder."""
    entries_book(storage, 3)
    copied = storage.folder / "copied"
    storage.copy(storage.folder / "entries-3", copied)
    store = open_store(storage.find(copied))
    with open_reader(store) as reader:
        size = reader.head().size
    store.close()
    storage.remove(copied)
    assert (3, False) == (size, copied.exists())


def test_numbers_asked_for_are_in_the_book() -> None:
    """Each question has the same number in every run, and all lie in the book."""
    asked = [number_in(1_000, question) for question in range(50)]
    assert asked == [number_in(1_000, question) for question in range(50)]
    assert set(asked) <= set(range(1_000))
    assert len(set(asked)) > 40


def test_parts_are_charged_to_the_innermost() -> None:
    """Time within a wrapped function that another one calls is the inner one's; both are counted, and their answers pass."""
    clock = PartsClock()
    inner = clock.wrapped(lambda: sum(range(200_000)), "inner")
    outer = clock.wrapped(lambda: inner() + 1, "outer")
    assert outer() == sum(range(200_000)) + 1
    sums = clock.sums()
    assert sums == clock.own_sums()
    assert {"inner", "outer"} == set(sums)
    assert sums["inner"] > sums["outer"]
    assert clock.looks == 4


def test_an_error_closes_its_part() -> None:
    """After a wrapped function that raised, what follows is not charged to it."""
    clock = PartsClock()

    def fail() -> None:
        raise Unsupported("no")

    with pytest.raises(Unsupported):
        clock.wrapped(fail, "failing")()
    before = clock.sums()["failing"]
    clock.wrapped(lambda: None, "other")()
    assert before == clock.sums()["failing"]


def test_every_place_that_is_timed_is_there() -> None:
    """Each function named as a part of a registration exists under that name."""
    for module, name, _ in PLACES:
        owner: object = __import__(module, fromlist=["_"])
        for step in name.split("."):
            owner = getattr(owner, step)
        assert callable(owner)


def test_histograms_of_servers_are_added_up() -> None:
    """Counts of two servers are summed by bucket, a quantile is read from the sum, and an earlier look is taken off."""
    assert [(0.1, 1), (0.2, 8), (float("inf"), 10)] == together(COUNTS)
    assert (200.0, 0.0) == (quantile_ms(together(COUNTS), 0.5), quantile_ms([(0.1, 0)], 0.5))
    assert [(0.1, 0), (0.2, 0), (float("inf"), 0)] == since(COUNTS[0], COUNTS[0])
    assert f"{NAME}_bucket{{" in Histogram().exposition()


def test_tree_in_memory_proves_as_the_standard_does() -> None:
    """Root and proofs of the measured tree are those of the definition, and another root or proof is told."""
    leaves = [b"leaf %d" % number for number in range(600)]
    hashes = [leaf_hash(leaf) for leaf in leaves]
    tree, proofs = TreeInMemory(leaves), [prove_inclusion(hashes, one, 600) for one in (0, 255, 256, 599)]
    assert root(hashes) == tree.root
    check_same(tree.root, root(hashes), [tree.prove(one) for one in (0, 255, 256, 599)], proofs)
    with pytest.raises(RootMismatch):
        check_same(tree.root, bytes(32), [], [])
    with pytest.raises(RootMismatch):
        check_same(tree.root, tree.root, [tree.prove(1)], [tree.prove(2)])
