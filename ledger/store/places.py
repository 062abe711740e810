"""Places: how far into the book a duty has looked, so that a process which takes over goes on from there.

A place says where to look next, and nothing about the book: without one a duty begins at entry 0.
"""

from __future__ import annotations

from ledger.store.engine import Store
from ledger.store.reader import Reader
from ledger.store.store_settings import put_setting


def read_place(reader: Reader, duty: str) -> int:
    """The index of the first entry that a duty has not looked at."""
    return int(reader.setting(f"place:{duty}") or 0)


def keep_place(store: Store, duty: str, place: int) -> None:
    """Remember how far a duty has looked: every entry below ``place``. Raises StoreUnavailable."""
    with store.writing() as transaction:
        put_setting(transaction, f"place:{duty}", str(place))
