"""A disk whose flush takes long: nothing is acknowledged before it, reads go on, and what waits becomes one group."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import wait

from ledger.book.receipt import parse_receipt
from ledger.store.answer import GroupReport
from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.transaction import Transaction
from ledger.store.writer import Writer
from tests.plant import registration


class SlowStore(Store):
    """A store whose commits stand until they are let go on."""

    def __init__(self, inner: Store) -> None:
        """The first commit stands already."""
        super().__init__(inner.engine, inner.dialect)
        self.reached = threading.Event()
        self.done = threading.Event()

    def commit(self, transaction: Transaction) -> None:
        """Commit once the disk is done."""
        self.reached.set()
        assert self.done.wait(60)
        super().commit(transaction)


def test_nothing_is_acknowledged_before_it_is_on_the_disk(
    store: Store, writer: Writer, start: Callable[..., Writer]
) -> None:
    """While a flush stands nobody has an answer and readers see the book without it; those who waited are the next group."""
    writer.stop()
    slow, reports = SlowStore(store), list[GroupReport]()
    late = start(on=slow, on_group=reports.append)
    first = late.submit(registration(1), "a-engraver")
    assert slow.reached.wait(30)
    others = [late.submit(registration(number), "a-engraver") for number in range(2, 60)]
    with open_reader(store) as reader:
        assert 9 == reader.head().size
    assert (False, 58) == (any(one.done() for one in (first, *others)), late.waiting)
    slow.done.set()
    wait([first, *others], 60)
    assert list(range(9, 68)) == [one.result(0).index for one in (first, *others)]
    sizes = {parse_receipt(one.result(0).receipt).checkpoint.tree_size for one in others}
    assert ([1, 58], {68}) == ([report.entries for report in reports], sizes)


def test_a_stop_waits_for_the_flush_at_hand(store: Store, writer: Writer, start: Callable[..., Writer]) -> None:
    """A service that is stopped while the disk is slow answers who is in the group at hand, and the entry stands."""
    writer.stop()
    slow = SlowStore(store)
    late = start(on=slow)
    first = late.submit(registration(1), "a-engraver")
    assert slow.reached.wait(30)
    stopping = threading.Thread(target=late.stop)
    stopping.start()
    slow.done.set()
    stopping.join(60)
    assert 9 == first.result(0).index
    with open_reader(store) as reader:
        assert 10 == reader.head().size
