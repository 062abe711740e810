"""The rows that registrations become, as the product wrote them: what the floors write again, raw.

Recording is done on a copy of the book with one entry a commit, so each row has its entry.  A row whose key is written
again and again (the lot's account, the head, a tile's edge, a set of gauges, a setting) is kept as *last of a group*: a group writes it once.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from ledger.store.engine import Store
from ledger.store.transaction import Transaction, Values

_TABLE = re.compile(r'(?:INSERT INTO|UPDATE) "([a-z_]+)"')
_LAST = frozenset({"lot", "gauge_set", "tile", "head", "setting"})


class Written(NamedTuple):
    """One entry's rows: new ones by statement, and for statement and key the last state of what is replaced."""

    new: dict[str, list[Values]]
    last: dict[tuple[str, Any], Values]


class _Recorded(Transaction):
    """A transaction that keeps what is written through it."""

    written: list[Written]

    def begin_write(self) -> None:
        """Begin what belongs to no entry."""
        super().begin_write()
        self.written.append(Written({}, {}))

    def begin_group(self) -> None:
        """Begin the next entry."""
        super().begin_group()
        self.written.append(Written({}, {}))

    def run_many(self, text: str, rows: Sequence[Values]) -> None:
        """Keep the rows."""
        self._keep(text, rows)
        super().run_many(text, rows)

    def put_many(self, text: str, rows: Sequence[Values]) -> None:
        """Keep the rows, each statement by itself."""
        if rows:
            self.run_many(text, rows)

    def _keep(self, text: str, rows: Sequence[Values]) -> None:
        found = _TABLE.match(text)
        if found is None:
            return
        written = self.written[-1]
        if found[1] not in _LAST:
            # Known to be new, so a raw insert needs no more.
            written.new.setdefault(text.partition(" ON CONFLICT")[0], []).extend(rows)
            return
        for row in rows:
            key = row[:2] if found[1] == "tile" else row[0] if found[1] != "head" else 0
            written.last[text, key] = row


class RecordingStore(Store):
    """A store whose writer's rows are kept."""

    def __init__(self, store: Store) -> None:
        """Stand for ``store``."""
        super().__init__(store.engine, store.dialect)
        self.written: list[Written] = []

    def transaction(self) -> Transaction:
        """A recording one."""
        recorded = _Recorded(self.engine, self.dialect)
        recorded.written = self.written
        return recorded

    def entries(self) -> list[Written]:
        """What each entry wrote, in order; transactions without an entry are left out."""
        return [one for one in self.written if any(text.startswith('INSERT INTO "entry"') for text in one.new)]
