"""Stores that may not be written: one that a copy is still being made into, and one whose book lives elsewhere now.

Two stores that both take entries for one book would fork it; so a copy is closed to writers until it is whole, and the
store that it was made from may be closed for good (`ledger.store.copying`).
"""

from __future__ import annotations

from ledger.errors import StoreError
from ledger.store.transaction import Transaction

UNFINISHED = "copy-unfinished"
MOVED = "moved"
"""Names of settings; the value of each is the id of the copy."""

_FIND = f'SELECT "name", "value" FROM "setting" WHERE "name" IN (\'{UNFINISHED}\', \'{MOVED}\')'


def check_writable(transaction: Transaction) -> None:
    """Raises StoreError for a store that takes no entries. One look-up of two names."""
    found = dict(transaction.rows(_FIND))
    if UNFINISHED in found:
        raise StoreError(
            "store is a copy that was not finished",
            where="setting copy-unfinished",
            mend="run the same pourbook copy again: it goes on where it stopped",
        )
    if MOVED in found:
        raise StoreError(
            "the book of this store was moved to another one",
            where="setting moved",
            mend="start the service with the address of the new store; this one is kept to be read",
        )


def copy_settings(transaction: Transaction) -> tuple[str | None, str | None]:
    """The id of the copy that is being made into a store, and of the one that its book was moved by."""
    found = dict(transaction.rows(_FIND))
    return found.get(UNFINISHED), found.get(MOVED)
