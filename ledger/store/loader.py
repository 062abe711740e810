"""From needs to rows: one query for each view and column, whatever the number of values; and what lies beside the views."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from ledger.line.erasure_rows import AccountName, FieldOpening, StoredBlob
from ledger.line.fold import needs_of
from ledger.line.record import Record
from ledger.line.rows import Allotment, Body, Row, Told
from ledger.line.state import Need, State
from ledger.store.accounts import account_names
from ledger.store.blobs import stored_blobs
from ledger.store.bodies import BodyReader
from ledger.store.dialect import Dialect, quoted
from ledger.store.openings import field_openings
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES

CHUNK = 5_000
"""Values in one query."""

_LEAVES = frozenset({Allotment})
"""Views from whose rows no kind goes on to further needs: a record that found only such rows is not asked again."""


class Loader:
    """Loads needs into a state, from the standing views or from those under ``suffix``."""

    def __init__(self, dialect: Dialect, suffix: str = "") -> None:
        """Write the statements, once."""
        self._bodies = BodyReader(dialect, suffix)
        self._statements = {
            (table.view.row, column): (
                f"{table.select(dialect.any_of(quoted(column)), suffix)} ORDER BY {', '.join(map(quoted, table.view.key))}",
                table.columns.index(column),
            )
            for table in VIEW_TABLES.values()
            for column in table.view.lookups
        }

    def load(self, transaction: Transaction, state: State, needs: Iterable[Need]) -> set[Need]:
        """Load every need; those that any row answered from which others may follow."""
        wanted: defaultdict[tuple[type[Row], str], list[str]] = defaultdict(list)
        for need in needs:
            wanted[need.row, need.column].append(need.value)
        answered: set[Need] = set()
        for (row, column), values in wanted.items():
            for start in range(0, len(values), CHUNK):
                chunk = values[start : start + CHUNK]
                found = self._found(transaction, row, column, chunk)
                state.load_all(row, column, chunk, found)
                if row not in _LEAVES:
                    answered.update(Need(row, column, value) for value in found)
        return answered

    def load_for(
        self, transaction: Transaction, state: State, records: Iterable[Record], *, thorough: bool = False
    ) -> None:
        """Load what records need, asking again until they lack nothing.

        Unless ``thorough``, a record that found no row is not asked again: most have nothing to add then, and where one
        has, its check raises `NotLoaded`, and whoever enters it loads thoroughly and tries once more.
        """
        asking: Iterable[Record] = records
        while asking:
            missing: dict[Need, None] = {}
            lacking: list[tuple[Record, list[Need]]] = []
            for record in asking:
                lacks = state.lacking(needs_of(record, state))
                if lacks:
                    lacking.append((record, lacks))
                    missing.update(dict.fromkeys(lacks))
            if not missing:
                return
            answered = self.load(transaction, state, missing)
            asking = [record for record, lacks in lacking if thorough or not answered.isdisjoint(lacks)]

    def _found(
        self, transaction: Transaction, row: type[Row], column: str, values: Sequence[str]
    ) -> dict[Any, Sequence[Row]]:
        if row is Told:
            return dict(self._bodies.told(transaction, values))
        if row is Body:
            return dict(self._bodies.body(transaction, values))
        if row is FieldOpening:
            return dict(field_openings(transaction, values))
        if row is AccountName:
            return dict(account_names(transaction, values))
        if row is StoredBlob:
            return dict(stored_blobs(transaction, values))
        statement, place = self._statements[row, column]
        to_row = VIEW_TABLES[row].to_row
        found: defaultdict[Any, list[Row]] = defaultdict(list)
        for stored in transaction.rows_of(statement, values):
            found[stored[place]].append(to_row(stored))
        return dict(found)
