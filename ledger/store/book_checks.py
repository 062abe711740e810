"""What checks of the whole book found, kept beside the book as settings of the store, newest first by their names.

They say something of the book as it was then. Nothing rests on them, and a rebuild does not touch them.
"""

from __future__ import annotations

from ledger.store.engine import Store
from ledger.store.store_settings import put_setting
from ledger.store.transaction import Transaction

_STEM = "book-check:"
_PAST = "book-check;"
"""The text that follows every name with the stem in byte order."""

KEPT = 50
"""Checks that are kept; older ones go when another comes."""

_NAMES = 'SELECT "name" FROM "setting" WHERE "name" >= ? AND "name" < ?'
_KEPT = 'SELECT "value", "name" FROM "setting" WHERE "name" >= ? AND "name" < ?'


def put_check(store: Store, check: str, text: str) -> None:
    """Keep what a check found. ``check`` is its id, which sorts by when it began. Raises StoreUnavailable."""
    with store.writing(moved_too=True) as transaction:
        put_setting(transaction, f"{_STEM}{check}", text)
        names = sorted(name for (name,) in transaction.rows(_NAMES, (_STEM, _PAST)))
        for name in names[:-KEPT]:
            transaction.run('DELETE FROM "setting" WHERE "name" = ?', (name,))


def read_check(transaction: Transaction, check: str) -> str | None:
    """What a check found, as it was kept; None for one that is not known."""
    found = transaction.row('SELECT "value" FROM "setting" WHERE "name" = ?', (f"{_STEM}{check}",))
    return None if found is None else str(found[0])


def read_checks(transaction: Transaction) -> list[str]:
    """What every kept check found, newest first."""
    rows = transaction.rows(_KEPT, (_STEM, _PAST))
    return [value for value, _ in sorted(rows, key=lambda row: row[1], reverse=True)]
