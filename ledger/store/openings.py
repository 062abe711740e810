"""What opens the sealed fields of an entry, and the erasing of what may be erased."""

from __future__ import annotations

from typing import Any

import msgspec

from ledger.book.sealed_field import Opening
from ledger.errors import NotFound
from ledger.store.engine import Store
from ledger.store.transaction import Transaction


class StoredOpening(msgspec.Struct, frozen=True):
    """An opening of entry ``index``; ``sealing`` is withheld or erasable."""

    index: int
    sealing: str
    opening: Opening


def openings_between(transaction: Transaction, start: int, stop: int) -> list[StoredOpening]:
    """All openings of the entries from ``start`` up to ``stop``, in order of entry and path."""
    found = transaction.rows(
        'SELECT "index", "sealing", "path", "salt", "value" FROM "opening" '
        'WHERE "index" >= ? AND "index" < ? ORDER BY "index", "path"',
        (start, stop),
    )
    return [_opening(*row) for row in found]


def _opening(index: int, sealing: str, path: str, salt: bytes, value: bytes) -> StoredOpening:
    opened: Any = msgspec.json.decode(value)
    return StoredOpening(index, sealing, Opening(path, salt, opened))


def erase_opening(store: Store, index: int, path: str) -> None:
    """Erase one erasable field for ever: the entry keeps its commitment, which says nothing without the salt.

    Backups made before still hold it. Raises NotFound where there is no erasable opening.
    """
    transaction = store.transaction()
    try:
        for statement in store.dialect.before_erasing:
            transaction.run(statement)
        transaction.begin_write()
        erased = transaction.run(
            'DELETE FROM "opening" WHERE "index" = ? AND "path" = ? AND "sealing" = \'erasable\'', (index, path)
        )
        transaction.commit()
        for statement in store.dialect.after_erasing:
            transaction.run(statement)
    finally:
        transaction.rollback()
        transaction.close()
    if not erased:
        raise NotFound("no erasable field there", got=f"entry {index}, {path}")
