"""Entries folded into view tables under a suffix, from entry 0 on: what a rebuild and a check of the views have in common.

No check is run again: what an entry says stands, with the breaches it was entered with.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec

from ledger.book.instant import instant_ms
from ledger.line.corrections import Correction, Recheck
from ledger.line.fact import Fact
from ledger.line.fold import enter
from ledger.line.state import NotLoaded, State
from ledger.store.archived_entries import filled
from ledger.store.bodies import Said, decode_said, open_entry
from ledger.store.commit import OVERLAY_ENTRIES, OVERLAY_ROWS
from ledger.store.dialect import Dialect
from ledger.store.entry_breaches import breaches_at
from ledger.store.group_rows import store_changes
from ledger.store.loader import Loader
from ledger.store.transaction import Transaction

_ENTRIES = 'SELECT "index", "bytes" FROM "entry" WHERE "index" >= ? AND "index" < ? ORDER BY "index"'
_OPENINGS = (
    'SELECT "index", "path", "value" FROM "opening" WHERE "index" >= ? AND "index" < ? AND "sealing" = \'withheld\''
)


class Fold:
    """Entries folded in order into the views under a suffix; ``done`` of them so far.

    `enter` only reads, and `store` only writes, so that a lock is held for the second alone.
    """

    def __init__(self, dialect: Dialect, suffix: str) -> None:
        """Start at entry 0, with tables that are empty."""
        self.done = 0
        self._forgot = 0
        self._suffix = suffix
        self._loader = Loader(dialect, suffix)
        self._state = State()

    def stretches(self, transaction: Transaction, stop: int) -> list[list[Fact]]:
        """The facts of the entries up to ``stop``: those to be entered and stored together, in order."""
        return list(_stretches(_facts(transaction, self.done, stop)))

    def enter(self, transaction: Transaction, facts: Sequence[Fact]) -> None:
        """Work out what a stretch changes."""
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

    def store(self, transaction: Transaction, facts: Sequence[Fact]) -> None:
        """Write what the stretch changed."""
        store_changes(transaction, self._state, self._suffix)
        if isinstance(facts[-1].record, Correction | Recheck):
            self._state.forget()

    def reach(self, stop: int) -> None:
        """All stretches up to entry ``stop`` are stored."""
        self.done = stop
        if stop - self._forgot > OVERLAY_ENTRIES or self._state.size() > OVERLAY_ROWS:
            self._state.forget()
            self._forgot = stop

    def catch_up(self, transaction: Transaction, stop: int) -> None:
        """Fold and store the entries up to ``stop`` in the transaction as it is."""
        for facts in self.stretches(transaction, stop):
            self.enter(transaction, facts)
            self.store(transaction, facts)
        self.reach(stop)


def _facts(transaction: Transaction, start: int, stop: int) -> Iterator[Fact]:
    openings: dict[int, dict[str, object]] = {}
    for index, path, value in transaction.rows(_OPENINGS, (start, stop)):
        openings.setdefault(index, {})[path] = msgspec.json.decode(value)
    for index, raw in filled(transaction, transaction.rows(_ENTRIES, (start, stop))):
        said: Said = decode_said(raw)
        opened = open_entry(said, openings.get(index, {}))
        recorded_ms = instant_ms(said.recorded_at)
        for position, record in enumerate(opened.records):
            yield Fact(index, position, record, said.author, recorded_ms, breaches_at(opened.breaches, position))


def _stretches(facts: Iterator[Fact]) -> Iterator[list[Fact]]:
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
