"""Making the views anew from the entries: beside the standing ones, caught up, then put in their place; or compared.

Writers go on meanwhile.  A rebuild works out each stretch of entries in a look of its own and takes the lock only to
write its rows; the last stretch and the exchange of names are one transaction.  A check writes nothing into the book: it
folds into temporary tables, in one look at the whole store.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import NamedTuple

from ledger.errors import StoreUnavailable
from ledger.store.dialect import quoted
from ledger.store.engine import Store, table_exists
from ledger.store.head import read_head
from ledger.store.long_look import hold_views
from ledger.store.transaction import Transaction
from ledger.store.view_fold import Fold
from ledger.store.view_table import ViewTable
from ledger.store.view_tables import BEFORE, BESIDE, CHECK, VIEW_TABLES, views_digest

CHUNK = 500
"""Entries folded at a time; the lock is taken for the last ones when there are no more than this."""

PASSES = 8
"""Times that a rebuild folds what came meanwhile, before it takes the lock for however much is left."""

PAUSE_S = 0.25
"""Between two tries to exchange views at which someone is looking (PostgreSQL)."""

_SET_DIGEST = (
    'INSERT INTO "setting" ("name", "value") VALUES (\'views-digest\', ?) '
    'ON CONFLICT ("name") DO UPDATE SET "value" = excluded."value"'
)
_TAKE_OVER = (
    'INSERT INTO "setting" ("name", "value") VALUES (\'views-beside\', ?) '
    'ON CONFLICT ("name") DO UPDATE SET "value" = excluded."value"'
)

Progress = Callable[[int, int], None]
"""Told (entries folded, entries of the book), never while a lock is held."""


class Difference(NamedTuple):
    """A row that the standing view has and the entries do not give (``only`` is ``standing``), or the other way."""

    view: str
    only: str
    row: tuple[object, ...]


def prepare_views(store: Store) -> bool:
    """Make the views anew when they are missing or of another shape; whether that was so."""
    with store.reading() as transaction:
        found = transaction.row('SELECT "value" FROM "setting" WHERE "name" = \'views-digest\'')
    if found is not None and found[0] == views_digest():
        return False
    rebuild_views(store)
    return True


def rebuild_views(store: Store, progress: Progress | None = None) -> int:
    """Make every view anew beside the standing ones and put them in their place; the number of entries folded.

    Raises StoreUnavailable when another rebuild of the same store took over, or when others look at the views for longer
    than one waits for a lock; the standing views are then as they were.
    """
    transaction = store.transaction()
    try:
        for setting in store.dialect.before_fold:
            transaction.run(setting)
        rebuild = _Rebuild(store, transaction, progress)
        rebuild.begin()
        for _ in range(PASSES):
            if not rebuild.follow():
                break
        return rebuild.exchange()
    finally:
        # Its settings, and whatever is open, go with the connection.
        transaction.discard()


class _Rebuild:
    """One rebuild; no two work on the same store, since a later one takes over."""

    def __init__(self, store: Store, transaction: Transaction, progress: Progress | None) -> None:
        self._store = store
        self._transaction = transaction
        self._progress = progress
        self._token = secrets.token_hex(8)
        self._fold = Fold(store.dialect, BESIDE)

    def begin(self) -> None:
        """Empty tables beside the standing ones."""
        transaction = self._transaction
        transaction.begin_write()
        transaction.run(_TAKE_OVER, (self._token,))
        for table in VIEW_TABLES.values():
            for suffix in (BESIDE, BEFORE):
                transaction.run(f"DROP TABLE IF EXISTS {quoted(table.name + suffix)}")
            _create(transaction, self._store, table, BESIDE, self._token)
        transaction.commit()

    def follow(self) -> bool:
        """Fold the entries that are there now, unless they are few; whether it did."""
        self._transaction.begin_read()
        size = read_head(self._transaction).size
        self._transaction.rollback()
        if size - self._fold.done <= CHUNK:
            return False
        while self._fold.done < size:
            self._fold_to(min(self._fold.done + CHUNK, size))
            if self._progress is not None:
                self._progress(self._fold.done, size)
        return True

    def _fold_to(self, stop: int) -> None:
        with self._looking() as transaction:
            stretches = self._fold.stretches(transaction, stop)
        for facts in stretches:
            with self._looking() as transaction:
                self._fold.enter(transaction, facts)
            transaction.begin_write()
            self._check_ours()
            self._fold.store(transaction, facts)
            transaction.commit()
        self._fold.reach(stop)

    @contextmanager
    def _looking(self) -> Iterator[Transaction]:
        self._transaction.begin_read()
        self._check_ours()
        yield self._transaction
        self._transaction.rollback()

    def _check_ours(self) -> None:
        found = self._transaction.row('SELECT "value" FROM "setting" WHERE "name" = \'views-beside\'')
        if found != (self._token,):
            raise StoreUnavailable("another rebuild of this store took over", mend="wait for it to end")

    def exchange(self) -> int:
        """Fold what is left and put the views in their place; the number of entries folded."""
        transaction = self._transaction
        for _ in range(1 + int(self._store.dialect.busy_ms / 1000 / PAUSE_S)):
            transaction.begin_write()
            size = read_head(transaction, lock=True).size
            self._check_ours()
            if self._take_views():
                break
            transaction.rollback()
            time.sleep(PAUSE_S)
            self.follow()
        else:
            raise StoreUnavailable("views are being looked at", mend="run pourbook rebuild when long reads have ended")
        self._fold.catch_up(transaction, size)
        for table in VIEW_TABLES.values():
            _exchange(transaction, table)
        transaction.run(_SET_DIGEST, (views_digest(),))
        transaction.run('DELETE FROM "setting" WHERE "name" = \'views-beside\'')
        transaction.commit()
        # Freeing the pages of a large table takes a while: one at a time, so that writers get in between.
        for table in VIEW_TABLES.values():
            transaction.begin_write()
            transaction.run(f"DROP TABLE IF EXISTS {quoted(table.name + BEFORE)}")
            transaction.commit()
        return size

    def _take_views(self) -> bool:
        """Have the tables beside and the standing views to oneself; whether that could be had without a long wait."""
        dialect, transaction = self._store.dialect, self._transaction
        own = ", ".join(quoted(table.name + BESIDE) for table in VIEW_TABLES.values())
        names = ", ".join(quoted(table.name) for table in VIEW_TABLES.values() if table_exists(transaction, table.name))
        try:
            for statement in dialect.take_own:
                transaction.run(statement.format(own))
            for statement in dialect.take_tables if names else ():
                transaction.run(statement.format(names))
        except dialect.errors as error:
            if not dialect.is_busy(error):
                raise
            return False
        return True


def compare_views(store: Store, limit: int = 20, progress: Progress | None = None) -> list[Difference]:
    """Rows in which the standing views differ from a fresh fold of the entries, at most ``limit`` a view and side.

    One look at the store; writers go on.
    """
    with open_check(store) as transaction:
        return view_differences(transaction, limit, progress)


@contextmanager
def open_check(store: Store) -> Iterator[Transaction]:
    """One look at the whole store, with empty temporary tables beside the views; nothing else can be written in it.

    The tables need about as much room among the system's temporary files as the views in the store. On SQLite the
    write-ahead log keeps growing until the look ends.
    """
    transaction = store.transaction()
    try:
        for setting in store.dialect.before_fold:
            transaction.run(setting)
        transaction.begin_temporary()
        for table in VIEW_TABLES.values():
            _create(transaction, store, table, CHECK, "check", temporary=True)
        transaction.commit()
        transaction.begin_read()
        hold_views(transaction)
        yield transaction
    finally:
        transaction.discard()


def view_differences(transaction: Transaction, limit: int, progress: Progress | None = None) -> list[Difference]:
    """Fold the entries of a look made by `open_check`, once, and compare; see `compare_views`."""
    fold = Fold(transaction.dialect, CHECK)
    size = read_head(transaction).size
    while fold.done < size:
        fold.catch_up(transaction, min(fold.done + CHUNK, size))
        if progress is not None:
            progress(fold.done, size)
    for setting in transaction.dialect.after_fold:
        transaction.run(setting)
    return [found for table in VIEW_TABLES.values() for found in _differences(transaction, table, limit)]


def _create(
    transaction: Transaction, store: Store, table: ViewTable, suffix: str, tag: str, *, temporary: bool = False
) -> None:
    transaction.run(table.create(store.engine.dialect, suffix, temporary=temporary))
    for statement in table.index_statements(suffix, tag):
        transaction.run(statement)


def _exchange(transaction: Transaction, table: ViewTable) -> None:
    standing, beside = quoted(table.name), quoted(table.name + BESIDE)
    if table_exists(transaction, table.name):
        transaction.run(f"ALTER TABLE {standing} RENAME TO {quoted(table.name + BEFORE)}")
    transaction.run(f"ALTER TABLE {beside} RENAME TO {standing}")


def _differences(transaction: Transaction, table: ViewTable, limit: int) -> Iterator[Difference]:
    standing, fresh = table.compared(), table.compared(CHECK)
    for only, left, right in (("standing", standing, fresh), ("entries", fresh, standing)):
        found = transaction.rows(f"{left} EXCEPT {right} LIMIT {limit:d}")
        yield from (Difference(table.name, only, row) for row in found)
