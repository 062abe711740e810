"""One look at a standby: a server that follows the book's own, and is only ever read (PostgreSQL, hot standby).

How far it has applied the log is read before the look begins, so what the look shows is never older than that.  On a standby
there are no temporary tables and no row locks; a look that holds the views may be ended by the server when it would keep
the log from being applied for too long (``max_standby_streaming_delay``).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import NamedTuple

from ledger.errors import StoreUnavailable
from ledger.store.engine import Store
from ledger.store.head import read_head
from ledger.store.long_look import hold_views
from ledger.store.transaction import Transaction

_APPLIED = "SELECT pg_is_in_recovery(), pg_wal_lsn_diff(pg_last_wal_replay_lsn(), '0/0')::bigint"
_WRITTEN = "SELECT pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')::bigint"
_KIND = (
    'SELECT (SELECT "value" FROM "setting" WHERE "name" = \'request-secret\'), '
    '(SELECT "value" FROM "setting" WHERE "name" = \'views-digest\'), '
    '(SELECT "version_num" FROM "alembic_version"), (SELECT system_identifier::text FROM pg_control_system())'
)


class Applied(NamedTuple):
    """How far a look at a standby reaches: the log up to byte ``place``, a book of ``size`` entries."""

    place: int
    size: int
    recorded_ms: int


@contextmanager
def standby_look(store: Store, *, hold: bool = False) -> Iterator[tuple[Transaction, Applied]]:
    """A consistent look at a standby; with ``hold`` the views are held (`ledger.store.long_look`).

    Raises StoreUnavailable where it cannot be reached, or follows nobody any more.
    """
    transaction = store.transaction()
    try:
        place = _place(transaction)
        transaction.begin_read()
        if hold:
            hold_views(transaction)
        head = read_head(transaction)
        yield transaction, Applied(place, head.size, head.recorded_ms)
    finally:
        # The server may have ended the connection: then there is nothing to take back.
        with suppress(store.dialect.errors):
            transaction.rollback()
        with suppress(store.dialect.errors):
            transaction.close()


def _place(transaction: Transaction) -> int:
    found = transaction.row(_APPLIED)
    if found is None or not found[0] or found[1] is None:
        raise StoreUnavailable("the read store is no standby", mend="name a server that follows the one of the book")
    return int(found[1])


def written_place(transaction: Transaction) -> int:
    """Up to which byte of the log a primary has written: all that is committed lies before it."""
    found = transaction.row(_WRITTEN)
    return 0 if found is None else int(found[0])


def store_kind(transaction: Transaction) -> tuple[object, ...] | None:
    """What a store and its standby have in common: the secret of the store, the form of its views and tables, the server."""
    return transaction.row(_KIND)
