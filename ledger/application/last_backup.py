"""Which backup was the last one, as the store remembers it."""

from __future__ import annotations

from typing import NamedTuple

from ledger.store.engine import Store
from ledger.store.reader import open_reader
from ledger.store.store_settings import put_setting

_LAST = "last-backup"


class LastBackup(NamedTuple):
    """When the last backup was finished (POSIX milliseconds), and how many entries it holds."""

    at_ms: int
    size: int


def note_backup(store: Store, size: int, now_ms: int) -> None:
    """Remember in the store that a backup of so many entries was finished."""
    with store.writing(moved_too=True) as transaction:
        put_setting(transaction, _LAST, f"{now_ms} {size}")


def last_backup(store: Store) -> LastBackup | None:
    """The last backup that was finished; None where none is on record."""
    with open_reader(store) as reader:
        found = reader.setting(_LAST)
    if found is None:
        return None
    at_ms, _, size = found.partition(" ")
    return LastBackup(int(at_ms), int(size))
