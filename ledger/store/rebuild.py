"""Making the views anew from the entries: beside the standing ones, caught up, then put in their place or compared.

No check is run again: what an entry says stands, with the breaches it was entered with.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import msgspec

from ledger.book.instant import instant_ms
from ledger.line.corrections import Correction, Recheck
from ledger.line.fact import Fact
from ledger.line.fold import enter
from ledger.line.state import NotLoaded, State
from ledger.store.bodies import Said, decode_said, open_entry
from ledger.store.commit import OVERLAY_ENTRIES, OVERLAY_ROWS, store_changes
from ledger.store.dialect import quoted
from ledger.store.engine import Store
from ledger.store.entry_breaches import breaches_at
from ledger.store.head import read_head
from ledger.store.loader import Loader
from ledger.store.transaction import Transaction
from ledger.store.view_tables import BESIDE, VIEW_TABLES, ViewTable, views_digest

CHUNK = 500
"""Entries in one transaction of a rebuild."""

_ENTRIES = 'SELECT "index", "bytes" FROM "entry" WHERE "index" >= ? AND "index" < ? ORDER BY "index"'
_OPENINGS = (
    'SELECT "index", "path", "value" FROM "opening" WHERE "index" >= ? AND "index" < ? AND "sealing" = \'withheld\''
)
_SET_DIGEST = (
    'INSERT INTO "setting" ("name", "value") VALUES (\'views-digest\', ?) '
    'ON CONFLICT ("name") DO UPDATE SET "value" = excluded."value"'
)


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


def rebuild_views(store: Store) -> int:
    """Make every view anew beside the standing ones and put them in their place; the number of entries folded.

    Writers go on while the bulk is folded; the last stretch and the exchange are one transaction.
    """
    transaction = store.transaction()
    try:
        size = _fold_beside(store, transaction)
        for table in VIEW_TABLES.values():
            _exchange(transaction, table)
        transaction.run(_SET_DIGEST, (views_digest(),))
        transaction.commit()
    finally:
        transaction.rollback()
        transaction.close()
    return size


def compare_views(store: Store, limit: int = 20) -> list[Difference]:
    """Rows in which the standing views differ from a fresh fold of the entries, at most ``limit`` a view and side.

    Writers wait while the tables are compared.
    """
    transaction = store.transaction()
    try:
        _fold_beside(store, transaction)
        differences = [
            difference for table in VIEW_TABLES.values() for difference in _differences(transaction, table, limit)
        ]
        for table in VIEW_TABLES.values():
            transaction.run(f"DROP TABLE {quoted(table.name + BESIDE)}")
        transaction.commit()
    finally:
        transaction.rollback()
        transaction.close()
    return differences


def _fold_beside(store: Store, transaction: Transaction) -> int:
    """Fold all entries into fresh tables; leaves the last transaction open, with the head locked."""
    transaction.begin_write()
    read_head(transaction, lock=True)
    for table in VIEW_TABLES.values():
        transaction.run(f"DROP TABLE IF EXISTS {quoted(table.name + BESIDE)}")
        transaction.run(table.create(store.engine.dialect, BESIDE))
        for statement in table.index_statements(BESIDE):
            transaction.run(statement)
    fold = Fold(Loader(store.dialect, BESIDE))
    while True:
        size = read_head(transaction, lock=True).size
        if size - fold.done <= CHUNK:
            fold.catch_up(transaction, size)
            return size
        fold.catch_up(transaction, fold.done + CHUNK)
        transaction.commit()
        transaction.begin_write()


class Fold:
    """Entries folded in order into the views under ``BESIDE``; ``done`` of them so far."""

    def __init__(self, loader: Loader) -> None:
        """Start at entry 0."""
        self.done = 0
        self._forgot = 0
        self._loader = loader
        self._state = State()

    def catch_up(self, transaction: Transaction, size: int) -> None:
        """Fold the entries up to ``size`` and store what they give."""
        facts = list(_facts(transaction, self.done, size))
        for stretch in _stretches(facts):
            self._fold(transaction, stretch)
        self.done = size
        if size - self._forgot > OVERLAY_ENTRIES or self._state.size() > OVERLAY_ROWS:
            self._state.forget()
            self._forgot = size

    def _fold(self, transaction: Transaction, facts: Sequence[Fact]) -> None:
        self._loader.load_for(transaction, self._state, [fact.record for fact in facts])
        for fact in facts:
            mark = self._state.mark()
            try:
                enter(fact, self._state)
            except NotLoaded:
                # The facts before it in this stretch made it need more.
                self._state.undo_to(mark)
                self._loader.load_for(transaction, self._state, [fact.record], thorough=True)
                enter(fact, self._state)
        store_changes(transaction, self._state, BESIDE)
        if isinstance(facts[-1].record, Correction | Recheck):
            self._state.forget()


def _facts(transaction: Transaction, start: int, stop: int) -> Iterator[Fact]:
    openings: dict[int, dict[str, object]] = {}
    for index, path, value in transaction.rows(_OPENINGS, (start, stop)):
        openings.setdefault(index, {})[path] = msgspec.json.decode(value)
    for index, raw in transaction.rows(_ENTRIES, (start, stop)):
        said: Said = decode_said(raw)
        opened = open_entry(said, openings.get(index, {}))
        recorded_ms = instant_ms(said.recorded_at)
        for position, record in enumerate(opened.records):
            yield Fact(index, position, record, said.author, recorded_ms, breaches_at(opened.breaches, position))


def _stretches(facts: Sequence[Fact]) -> Iterator[list[Fact]]:
    """Corrections and re-checks alone, since they read what is stored; the others together."""
    together: list[Fact] = []
    for fact in facts:
        if isinstance(fact.record, Correction | Recheck):
            if together:
                yield together
                together = []
            yield [fact]
        else:
            together.append(fact)
    if together:
        yield together


def _exchange(transaction: Transaction, table: ViewTable) -> None:
    transaction.run(f"DROP TABLE IF EXISTS {quoted(table.name)}")
    transaction.run(f"ALTER TABLE {quoted(table.name + BESIDE)} RENAME TO {quoted(table.name)}")
    for column in table.indexed():
        transaction.run(f"DROP INDEX {quoted(table.index_name(column, BESIDE))}")
    for statement in table.index_statements():
        transaction.run(statement)


def _differences(transaction: Transaction, table: ViewTable, limit: int) -> Iterator[Difference]:
    names = ", ".join(map(quoted, table.columns))
    standing, fresh = quoted(table.name), quoted(table.name + BESIDE)
    for only, left, right in (("standing", standing, fresh), ("entries", fresh, standing)):
        found = transaction.rows(f"SELECT {names} FROM {left} EXCEPT SELECT {names} FROM {right} LIMIT {limit:d}")
        yield from (Difference(table.name, only, row) for row in found)
