"""How far standbys are behind a PostgreSQL primary, as the primary sees it."""

from __future__ import annotations

from typing import NamedTuple

from ledger.store.transaction import Transaction

_LAG = (
    'SELECT "application_name", "state", pg_wal_lsn_diff(pg_current_wal_lsn(), "replay_lsn")::bigint, "sync_state" '
    'FROM pg_stat_replication WHERE NOT pg_is_in_recovery() ORDER BY 1, "pid"'
)


class Standby(NamedTuple):
    """A server that follows: by its own name, whether commits wait for it, and the bytes of log that it has not applied.

    ``behind`` is None where the role may not see it (the server shows it to members of ``pg_monitor``).
    """

    name: str
    state: str
    behind: int | None
    synchronous: bool


def standbys(transaction: Transaction) -> list[Standby]:
    """The standbys of this store's server; none on SQLite, and none of a server that is a standby itself."""
    if transaction.dialect.name != "postgresql":
        return []
    return [
        Standby(name, state or "", None if behind is None else max(0, behind), sync in {"sync", "quorum"})
        for name, state, behind, sync in transaction.rows(_LAG)
    ]
