"""The end of the book as a writer keeps it, after others entered something: the same as loading it anew."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest

from ledger.book.tiles import TILE_WIDTH
from ledger.store.book_tail import BookTail, follow_tail, load_tail
from ledger.store.engine import Store
from ledger.store.head import read_head
from ledger.store.transaction import Transaction
from ledger.store.writer import Writer
from tests.plant import line_start, opening, registration


def enter(writer: Writer, first: int, count: int) -> None:
    """Register so many balls."""
    for future in [writer.submit(registration(number), "a-engraver") for number in range(first, first + count)]:
        future.result(60)


@pytest.fixture
def writer(start: Callable[..., Writer]) -> Writer:
    """Another process's writer, over a book with a line."""
    made = start()
    for submission in [opening(), *line_start(count=2 * TILE_WIDTH)]:
        made.submit(submission, "a-lead").result(60)
    return made


@pytest.fixture
def look(store: Store) -> Iterator[Callable[[], Transaction]]:
    """Looks at the store, each of the newest head."""
    transaction = store.transaction()

    def anew() -> Transaction:
        transaction.rollback()
        transaction.begin_read()
        return transaction

    yield anew
    transaction.rollback()
    transaction.close()


def said(tail: BookTail) -> tuple[object, ...]:
    """All that a tail holds."""
    return tail.head, tail.frontier, tail.edge.size, tail.edge.frontier()


@pytest.mark.parametrize("count", [1, 7, TILE_WIDTH, TILE_WIDTH + 1])
def test_followed_tail_is_the_loaded_one(count: int, writer: Writer, look: Callable[[], Transaction]) -> None:
    """After few entries of others and after many, over the edge of a tile, both ways give the same."""
    tail = load_tail(look(), read_head(look()))
    enter(writer, 0, count)
    transaction = look()
    head = read_head(transaction)
    followed = follow_tail(transaction, tail, head)
    assert said(load_tail(transaction, head)) == said(followed)
    assert count == head.size - 9


def test_tail_that_does_not_lead_to_the_head_is_loaded(writer: Writer, look: Callable[[], Transaction]) -> None:
    """Where the store was put back, or holds another history than the one in memory, the end is read as it stands."""
    transaction = look()
    early = load_tail(transaction, read_head(transaction))
    enter(writer, 0, 3)
    transaction = look()
    head = read_head(transaction)
    late = load_tail(transaction, head)
    assert said(late) == said(
        follow_tail(transaction, BookTail(head._replace(size=99), late.frontier, late.edge), head)
    )
    other = early.head._replace(last_hash=bytes(32))
    assert said(late) == said(follow_tail(transaction, BookTail(other, early.frontier, early.edge), head))
