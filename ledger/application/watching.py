"""Figures for whoever watches a book: how far it is, how old its end, what waits, when it was backed up, who follows."""

from __future__ import annotations

from typing import NamedTuple

from ledger.application.last_backup import LastBackup, last_backup
from ledger.application.pourbook import Pourbook
from ledger.store.archived_entries import ARCHIVED
from ledger.store.reader import open_reader
from ledger.store.replication import Standby, standbys


class Watched(NamedTuple):
    """``archived``: entries whose bytes lie in an archive alone. ``recorded_ms`` is the instant of the last entry (POSIX); ``waiting`` submissions are in this process's queue."""

    entries: int
    archived: int
    recorded_ms: int
    waiting: int
    backup: LastBackup | None
    standbys: list[Standby]


def watched(book: Pourbook) -> Watched:
    """These figures now. A few rows, whatever the size of the book."""
    with open_reader(book.store) as reader:
        head, following = reader.head(), standbys(reader.transaction)
        archived = int(reader.setting(ARCHIVED) or 0)
    return Watched(head.size, archived, head.recorded_ms, book.waiting, last_backup(book.store), following)
