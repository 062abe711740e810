"""A look at the store as it would be with rows that were not entered: what a dry run's earlier lines would have put."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from operator import attrgetter
from typing import Any

from ledger.line.rows import About, FactRow, Row
from ledger.line.state import State
from ledger.line.views import VIEW_OF
from ledger.store.dialect import Dialect
from ledger.store.loader import Loader
from ledger.store.transaction import Transaction

_NOT_KEPT = frozenset({FactRow, About})
"""What every fact puts, and no check of a plain fact reads."""


class TentativeLoader(Loader):
    """Loads stored rows with those that it was given in their place or beside them. Memory: about the rows given."""

    def __init__(self, dialect: Dialect) -> None:
        """Begin with the store as it is."""
        super().__init__(dialect)
        self._rows: dict[type[Row], dict[Any, Row]] = {}
        self._keys: dict[type[Row], dict[tuple[str, Any], dict[Any, None]]] = {}

    def keep(self, state: State) -> None:
        """Take over what was put in an overlay, as if it had been stored."""
        for row_type, (rows, gone) in state.take_changes().items():
            if row_type in _NOT_KEPT:
                continue
            if gone:
                message = "unreachable: a line that was taken over removes nothing"
                raise RuntimeError(message)
            view = VIEW_OF[row_type]
            key_of = attrgetter(*view.key)
            kept, keys = self._rows.setdefault(row_type, {}), self._keys.setdefault(row_type, {})
            for row in rows:
                key = key_of(row)
                before = kept.get(key)
                kept[key] = row
                for column in view.lookups:
                    value = getattr(row, column)
                    if before is not None and getattr(before, column) != value:
                        keys[column, getattr(before, column)].pop(key, None)
                    if value is not None:
                        keys.setdefault((column, value), {})[key] = None

    def _found(
        self, transaction: Transaction, row: type[Row], column: str, values: Sequence[str]
    ) -> dict[Any, Sequence[Row]]:
        stored = super()._found(transaction, row, column, values)
        kept = self._rows.get(row)
        if not kept:
            return stored
        key_of = attrgetter(*VIEW_OF[row].key)
        found: defaultdict[Any, list[Row]] = defaultdict(list)
        for value, rows in stored.items():
            found[value] += [one for one in rows if key_of(one) not in kept]
        for value in values:
            found[value] += [kept[key] for key in self._keys[row].get((column, value), ())]
        return {value: rows for value, rows in found.items() if rows}
