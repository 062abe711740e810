"""Stores that may not be written: one that a copy is still being made into, and one whose book lives elsewhere now.

Two stores that both take entries for one book would fork it; so a copy is closed to writers until it is whole, and the
store that it was made from may be closed for good (`ledger.store.copying`).  What is written beside the book (accounts,
sessions, files) is refused there too, since the copy would not have it.  What is about the store itself goes on: leases,
its migration, when it was backed up or checked, and the last use of a session by which somebody reads.
"""

from __future__ import annotations

from ledger.errors import StoreError
from ledger.store.store_settings import CHANGES, put_setting
from ledger.store.transaction import Transaction

UNFINISHED = "copy-unfinished"
MOVED = "moved"
"""Names of settings; the value of each is the id of the copy."""

_FIND = f'SELECT "name", "value" FROM "setting" WHERE "name" IN (\'{UNFINISHED}\', \'{MOVED}\', \'{CHANGES}\')'


def check_open(transaction: Transaction) -> None:
    """The first thing of a write beside the book: until it ends nobody moves the book. Raises StoreError."""
    if transaction.dialect.beside_lock:
        transaction.run(transaction.dialect.beside_lock)
    check_writable(transaction)


def close_moved(transaction: Transaction, copy: str) -> None:
    """Say under the head's lock that the book is moved by a copy, once whoever writes beside it has ended."""
    if transaction.dialect.move_lock:
        transaction.run(transaction.dialect.move_lock)
    put_setting(transaction, MOVED, copy)


def open_again(transaction: Transaction) -> None:
    """Let the store from which the book was moved take entries again, in the transaction of the entry that says so."""
    transaction.run('DELETE FROM "setting" WHERE "name" = ?', (MOVED,))


def check_writable(transaction: Transaction, reopens: str | None = None) -> str:
    """What the last groups changed (`ledger.store.group_changes`), found by the same look-up; empty where nothing is told.

    ``reopens``: the id of a copy that is gone; a store whose book was moved by that one passes. Raises StoreError for a
    store that takes no entries.
    """
    found = dict(transaction.rows(_FIND))
    if UNFINISHED in found:
        raise StoreError(
            "store is a copy that was not finished",
            where="setting copy-unfinished",
            mend="run the same pourbook copy again: it goes on where it stopped",
        )
    if MOVED in found and found[MOVED] != reopens:
        raise StoreError(
            "the book of this store was moved to another one",
            where="setting moved",
            mend="start the service with the address of the new store; if that is lost, see pourbook reopen",
        )
    return str(found.get(CHANGES, ""))


def copy_settings(transaction: Transaction) -> tuple[str | None, str | None]:
    """The id of the copy that is being made into a store, and of the one that its book was moved by."""
    found = dict(transaction.rows(_FIND))
    return found.get(UNFINISHED), found.get(MOVED)
