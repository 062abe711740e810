"""Witnesses' cosignatures over the book's checkpoints, kept beside the book.

The caller has checked each one before it comes here (`ledger.book.witness`).
"""

from __future__ import annotations

from typing import NamedTuple

from ledger.store.engine import Store


class Cosignature(NamedTuple):
    """A witness's note line over the checkpoint of a tree size."""

    size: int
    witness: str
    line: str
    received_ms: int


def put_cosignature(store: Store, cosignature: Cosignature) -> None:
    """Keep a cosignature; a later one of the same witness over the same size takes its place."""
    with store.writing() as transaction:
        transaction.run(
            'INSERT INTO "cosignature" ("size", "witness", "line", "received_ms") VALUES (?, ?, ?, ?) '
            'ON CONFLICT ("size", "witness") DO UPDATE SET "line" = excluded."line", "received_ms" = excluded."received_ms"',
            cosignature,
        )


def read_cosignatures(store: Store, size: int) -> list[Cosignature]:
    """All cosignatures over the checkpoint of a tree size, by witness."""
    with store.reading() as transaction:
        found = transaction.rows(
            'SELECT "size", "witness", "line", "received_ms" FROM "cosignature" WHERE "size" = ? ORDER BY "witness"',
            (size,),
        )
    return list(map(Cosignature._make, found))


def last_cosigned_size(store: Store) -> int:
    """The largest tree size that a witness cosigned; 0 where none did."""
    with store.reading() as transaction:
        found = transaction.row('SELECT COALESCE(MAX("size"), 0) FROM "cosignature"')
    return int(found[0]) if found else 0
