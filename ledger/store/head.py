"""The head row: where the book ends.  Reading it with a lock is how a writer becomes the only one."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from ledger.book.checkpoint import parse_checkpoint
from ledger.errors import StoreDamaged
from ledger.store.transaction import Transaction

_SELECT = 'SELECT "size", "last_hash", "frontier", "recorded_ms", "checkpoint" FROM "head" WHERE "id" = 1'
_UPDATE = (
    'UPDATE "head" SET "size" = ?, "last_hash" = ?, "frontier" = ?, "recorded_ms" = ?, "checkpoint" = ? WHERE "id" = 1'
)


class Head(NamedTuple):
    """``size`` entries, the hash of the last one (32 bytes; SHA-256 of nothing before entry 0), the frontier's bytes, the
    last ``recorded_at`` in milliseconds, and the last stored checkpoint note, which may be of an earlier size.
    """

    size: int
    last_hash: bytes
    frontier: bytes
    recorded_ms: int
    checkpoint: bytes | None


def read_head(transaction: Transaction, *, lock: bool = False) -> Head:
    """The head. With ``lock`` (PostgreSQL) nobody else gets it before this transaction ends."""
    found = transaction.row(_SELECT + (transaction.dialect.head_lock if lock else ""))
    if found is None:
        raise StoreDamaged("store has no head row")
    return Head(*found)


def write_head(transaction: Transaction, head: Head) -> None:
    """Replace the head; the trigger refuses a smaller size."""
    transaction.put_many(_UPDATE, [head])


# Asked for with every receipt, of the same few notes: the writer's own, the stored one, the published one.
@lru_cache(maxsize=16)
def noted_size(note: bytes) -> int:
    """How many entries a checkpoint note of this book is over."""
    return parse_checkpoint(note).tree_size
