"""Carrying out what erasures say: rows deleted in the transaction that enters the erasure, then the files cleaned.

When the erasure is answered, no query of this store gives the value, or the bytes of a file, any more, and none will
after a crash.  What is left in the database's files goes as far as it can take it, right after the commit and again until
it is done (a setting remembers it over a restart): SQLite writes zeros over the deleted rows and copies its write-ahead log back, which waits
for readers; PostgreSQL vacuums the tables, and gives the bytes up when it uses their place again.

What this does not reach: a stale copy in a part of a SQLite page that was free before (``VACUUM`` with the service stopped
takes those too), PostgreSQL's own write-ahead log until it is recycled, replicas, the disk beneath a file system that
writes elsewhere, **and every backup made before**.

The keyed digest of the request stays, so that the same request is still answered with its entry.  Without this store's
request secret it says nothing; who holds both can try out guesses of the whole request, salts not needed.
"""

from __future__ import annotations

from collections.abc import Sequence

from ledger.errors import StoreDamaged
from ledger.line.blob_erasures import BlobErasure
from ledger.line.erasures import Erasure, NameErasure
from ledger.line.record import Record
from ledger.store.accounts import delete_name
from ledger.store.blobs import delete_blobs
from ledger.store.openings import delete_openings
from ledger.store.transaction import Transaction

_PENDING = "erased-not-cleaned"


def erases(record: Record) -> bool:
    """Whether entering the record deletes something, so that it is entered in a group of its own."""
    return isinstance(record, Erasure | NameErasure | BlobErasure)


class Erasing:
    """The writer's memory of whether its files are still to be cleaned; not known before the store was asked."""

    def __init__(self) -> None:
        """Nothing is asked yet."""
        self._pending: bool | None = None

    def delete(self, transaction: Transaction, records: Sequence[Record]) -> None:
        """Delete within the open transaction what the records of a group erase. Raises StoreDamaged."""
        erasures = [record for record in records if erases(record)]
        if not erasures:
            return
        self._pending = True
        for record in erasures:
            if isinstance(record, Erasure):
                delete_openings(transaction, [(record.entry, path) for path in record.fields])
            elif isinstance(record, BlobErasure):
                delete_blobs(transaction, record.blobs)
            elif isinstance(record, NameErasure) and not delete_name(transaction, record.account):
                raise StoreDamaged("a name went away while it was erased", where=f"account {record.account}")
        transaction.run('INSERT INTO "setting" ("name", "value") VALUES (?, ?) ON CONFLICT DO NOTHING', (_PENDING, "1"))

    def clean(self, transaction: Transaction) -> bool:
        """Clean the files if that is still to be done, outside any transaction; whether something is left to be done."""
        if self._pending is None:
            transaction.begin_read()
            found = transaction.row('SELECT 1 FROM "setting" WHERE "name" = ?', (_PENDING,))
            transaction.rollback()
            self._pending = found is not None
        if self._pending and transaction.dialect.clean_erased(transaction):
            transaction.begin_write()
            transaction.run('DELETE FROM "setting" WHERE "name" = ?', (_PENDING,))
            transaction.commit()
            self._pending = False
        return self._pending
