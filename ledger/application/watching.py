"""Figures for whoever watches a book: how far it is, how old its end, what waits, when it was backed up, who follows."""

from __future__ import annotations

from typing import NamedTuple

from ledger.application.last_backup import LastBackup, last_backup
from ledger.application.pourbook import Pourbook
from ledger.store.archived_entries import ARCHIVED
from ledger.store.reader import open_reader
from ledger.store.replication import Standby, standbys


class Watched(NamedTuple):
    """``archived``: entries whose bytes lie in an archive alone. ``recorded_ms`` is the instant of the last entry (POSIX); ``waiting`` submissions are in this process's queue. ``holds_pen``: whether it enters for others too; None where it shares no pen."""

    entries: int
    archived: int
    recorded_ms: int
    waiting: int
    backup: LastBackup | None
    standbys: list[Standby]
    holds_pen: bool | None = None


def watched(book: Pourbook) -> Watched:
    """These figures now. A few rows, whatever the size of the book."""
    with open_reader(book.store) as reader:
        head, following = reader.head(), standbys(reader.transaction)
        archived = int(reader.setting(ARCHIVED) or 0)
    pen = book.store.pen
    holds_pen = None if pen is None else pen.holder is not None
    return Watched(head.size, archived, head.recorded_ms, book.waiting, last_backup(book.store), following, holds_pen)
