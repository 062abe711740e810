"""A look at the store that may last: a rebuild cannot exchange the views under it.

On SQLite every look is so.  On PostgreSQL a transaction that began before an exchange would find the new tables empty,
since their rows are younger than itself; so it holds the old ones from its beginning.  Writers are never in its way, nor
it in theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from ledger.store.dialect import quoted
from ledger.store.engine import Store
from ledger.store.reader import Beside, Reader
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES

_VIEWS = ", ".join(quoted(table.name) for table in VIEW_TABLES.values())


@contextmanager
def open_long_reader(store: Store, beside: Beside | None = None) -> Iterator[Reader]:
    """A reader for the length of the block, however long. Raises StoreUnavailable."""
    with store.reading() as transaction:
        hold_views(transaction)
        yield Reader(transaction, beside)


def hold_views(transaction: Transaction) -> None:
    """Hold the views as they are, and take as long as it takes; the first thing that a transaction does."""
    for statement in (*transaction.dialect.unhurried, *transaction.dialect.hold_tables):
        transaction.run(statement.format(_VIEWS))
