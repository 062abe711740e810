"""A moved book taken back to the store that it was moved from, because the store that it was moved to is gone.

Only what others hold can show that nothing was entered in the new store: a head that lies ahead of the old one means that
the old one is not the book any more.  That the copy is gone, and will not come back, nobody can check: whoever says so
gives a word for it, and the book keeps the word in its next entry, for ever.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from ledger.application.pourbook import fresh_salts, wall_clock_ms
from ledger.application.signers import Signers
from ledger.book.instant import Instant, format_instant
from ledger.duties.rechecks import DUTIES
from ledger.errors import Contradiction, StoreBehind
from ledger.line.restorations import BookRestored
from ledger.line.submission import Submission
from ledger.store.book_tail import check_not_behind
from ledger.store.engine import Store
from ledger.store.moved import copy_settings
from ledger.store.reader import open_reader
from ledger.store.writer import Writer


class Reopened(NamedTuple):
    """``entry`` is the index of the one that says that the book goes on after ``size`` entries, and that ``copy`` is gone."""

    entry: int
    size: int
    copy: str


def reopen_moved(
    store: Store,
    notes: Sequence[bytes],
    reason: str,
    *,
    signers: Signers,
    clock_ms: Callable[[], int] = wall_clock_ms,
) -> Reopened:
    """Open a moved store again and enter that it was done, in one transaction.

    ``notes``: checkpoints that others hold, their signatures checked by the caller; none may lie ahead of the store.
    Raises Contradiction for a store that was not moved, StoreBehind where the new store held more, StoreDamaged for a head
    of another history.
    """
    origin = signers.checkpoint.name
    with open_reader(store) as reader:
        _, copy = copy_settings(reader.transaction)
        head = reader.head()
        if copy is None:
            raise Contradiction("the book of this store was not moved", mend="start the service with its address")
        for note in notes:
            try:
                check_not_behind(reader.transaction, head, origin, note)
            except StoreBehind as error:
                raise StoreBehind(
                    "the book went on in the store that it was moved to",
                    expected=error.expected,
                    got=error.got,
                    mend="restore the newest backup of that store; if there is none, back this one up and restore it"
                    " with --lose",
                ) from error
    writer = Writer(
        store, origin=origin, signers=signers.checkpoints(), clock_ms=clock_ms, salts=fresh_salts, reopens=copy
    )
    writer.start()
    try:
        at = format_instant(Instant(clock_ms(), 0))
        record = BookRestored(at=at, size=head.size, copy=copy, reason=reason)
        said = Submission(key=f"reopened-{copy}", records=(record,))
        entry: int = writer.submit(said, DUTIES).result().index
    finally:
        writer.stop()
    return Reopened(entry, head.size, copy)
