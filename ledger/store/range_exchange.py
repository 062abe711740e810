"""One range of entries exchanged for the same without bytes, while writers and readers go on (PostgreSQL).

The table that takes its place is filled beside it, with rows that every look sees however early it began (COPY FREEZE):
a look that has not touched the entries yet finds them after the exchange too.  The exchange itself is one short
transaction, which takes the head's lock first, as writers do, and then waits a moment at most for looks at the entries;
while there are any it gives way, and tries again.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from ledger.errors import StoreDamaged, StoreUnavailable
from ledger.store.archived_entries import ARCHIVED
from ledger.store.dialect import quoted
from ledger.store.engine import Store
from ledger.store.entry_ranges import EntryRange
from ledger.store.head import read_head
from ledger.store.store_settings import put_setting
from ledger.store.transaction import Transaction

PAUSE_S = 0.25
"""Between two tries to exchange a range while someone looks at the entries."""

CHUNK = 10_000
LOCK = 7_203_116
"""The advisory lock of a run, any number that is this project's."""

_BESIDE, _BEFORE = "_beside", "_before"
_LEFT = re.compile(r"entry_[0-9]+(_beside|_before)")

_OWNER = 'SELECT pg_has_role(current_user, "relowner", \'USAGE\') FROM pg_class WHERE "oid" = \'"entry"\'::regclass'


def is_owner(transaction: Transaction) -> bool:
    """Whether this database role may do what the owner of the entries may."""
    return transaction.row(_OWNER) == (True,)


@contextmanager
def archive_turn(store: Store) -> Iterator[None]:
    """Only one run at a time, and none over what an earlier one left. Raises StoreUnavailable where another is on."""
    turn = store.transaction()
    try:
        if turn.row("SELECT pg_try_advisory_lock(?)", (LOCK,)) != (True,):
            raise StoreUnavailable("another archive of this book is running", mend="wait for it to end")
        yield
    finally:
        # The lock goes with the connection.
        turn.discard()


def exchange_range(store: Store, span: EntryRange, patience_s: float) -> None:
    """Put a table without bytes in the place of a range's. The caller knows that the bytes lie elsewhere.

    Raises StoreUnavailable where looks at the entries leave no moment for it within ``patience_s``, StoreDamaged.
    """
    transaction = store.transaction()
    try:
        _fill_beside(store, transaction, span)
        end = time.monotonic() + patience_s
        while not _exchanged(transaction, span):
            if time.monotonic() > end:
                raise StoreUnavailable(
                    "entries are being looked at", where=span.name, mend="archive again when long reads have ended"
                )
            time.sleep(PAUSE_S)
        # Giving the space back takes a while, and nobody waits for it.
        drop_left(transaction)
    finally:
        transaction.discard()


def drop_left(transaction: Transaction) -> None:
    """Drop the tables beside the ranges that this run, or one that was stopped, has no use for any more."""
    transaction.begin_write()
    names = transaction.rows("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
    for (name,) in names:
        if _LEFT.fullmatch(name):
            transaction.run(f"DROP TABLE {quoted(name)}")
    transaction.commit()


def _fill_beside(store: Store, transaction: Transaction, span: EntryRange) -> None:
    """The table that takes the range's place, filled and compared with it; no role but the owner has a right on it."""
    beside, standing = quoted(span.name + _BESIDE), quoted(span.name)
    transaction.begin_write()
    transaction.run(
        f'CREATE TABLE {beside} ("index" bigint NOT NULL, "hash" bytea NOT NULL, "bytes" bytea, "recorded_ms" bigint '
        f'NOT NULL, CONSTRAINT "archived" CHECK ("bytes" IS NULL), '
        f'CONSTRAINT "bounds" CHECK ("index" >= {span.start:d} AND "index" < {span.stop:d}))'
    )
    with store.reading() as look:
        transaction.copy_in(
            f'COPY {beside} ("index", "hash", "recorded_ms") FROM STDIN (FREEZE)', _rows(look, standing, span)
        )
    transaction.run(f'ALTER TABLE {beside} ADD PRIMARY KEY ("index")')
    transaction.run(f"ANALYZE {beside}")
    transaction.run("SELECT guard_entry_range(?)", (beside,))
    same = transaction.row(
        f'SELECT count(*) FROM {standing} a JOIN {beside} b ON a."index" = b."index" '
        'WHERE a."hash" = b."hash" AND a."recorded_ms" = b."recorded_ms"'
    )
    if same != (span.stop - span.start,):
        raise StoreDamaged(
            "a range is not whole", expected=span.stop - span.start, got=same and same[0], where=span.name
        )
    transaction.commit()


def _rows(look: Transaction, standing: str, span: EntryRange) -> Iterator[tuple[Any, ...]]:
    select = (
        f'SELECT "index", "hash", "recorded_ms" FROM {standing} WHERE "index" >= ? AND "index" < ? ORDER BY "index"'
    )
    for start in range(span.start, span.stop, CHUNK):
        yield from look.rows(select, (start, min(start + CHUNK, span.stop)))


def _exchanged(transaction: Transaction, span: EntryRange) -> bool:
    """Exchange the two tables in one transaction; False where others look at the entries just now."""
    standing, before, beside = (quoted(span.name + suffix) for suffix in ("", _BEFORE, _BESIDE))
    transaction.begin_write()
    try:
        read_head(transaction, lock=True)
        for statement in transaction.dialect.take_own:
            transaction.run(statement.format(beside))
        for statement in transaction.dialect.take_tables:
            transaction.run(statement.format(f'ONLY "entry", {standing}'))
    except transaction.dialect.errors as error:
        transaction.rollback()
        if not transaction.dialect.is_busy(error):
            raise
        return False
    first = "MINVALUE" if span.start == 0 else str(span.start)
    for statement in (
        f'ALTER TABLE "entry" DETACH PARTITION {standing}',
        f"ALTER TABLE {standing} RENAME TO {before}",
        f"ALTER TABLE {beside} RENAME TO {standing}",
        f'ALTER TABLE "entry" ATTACH PARTITION {standing} FOR VALUES FROM ({first}) TO ({span.stop:d})',
    ):
        transaction.run(statement)
    put_setting(transaction, ARCHIVED, str(span.stop))
    transaction.commit()
    return True
