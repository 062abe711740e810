"""The first published checkpoint that covers an entry, and the first time token: how soon others saw what it fixed."""

from __future__ import annotations

from typing import NamedTuple

from ledger.store.transaction import Transaction


class FirstSeen(NamedTuple):
    """A published checkpoint's size and when it was published, or a token's size and the time that it states."""

    size: int
    at_ms: int


def first_published(transaction: Transaction, size: int) -> FirstSeen | None:
    """The smallest published checkpoint of at least ``size`` entries that is still kept; None where there is none."""
    found = transaction.row(
        'SELECT "size", "published_ms" FROM "published" WHERE "size" >= ? ORDER BY "size" LIMIT 1', (size,)
    )
    return None if found is None else FirstSeen(*found)


def first_stamped(transaction: Transaction, size: int) -> FirstSeen | None:
    """The earliest time that a token states over a checkpoint of at least ``size`` entries; None where there is none."""
    found = transaction.row(
        'SELECT "size", "at_ms" FROM "time_token" WHERE "size" >= ? ORDER BY "at_ms", "size" LIMIT 1', (size,)
    )
    return None if found is None else FirstSeen(*found)
