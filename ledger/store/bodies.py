"""Standing bodies of facts, read from the entries: what a correction folds a node from.

A body stands in the fact's own entry, or in the correction that replaced it (`FactRow.body` says which).  Sealed fields
are opened where their opening is *withheld*; erasable ones never reach a fold.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import msgspec

from ledger.line.fact import Breach, Fact
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.record import Record
from ledger.line.rows import Body, Row, Told
from ledger.line.submission import open_records
from ledger.store.archived_entries import filled
from ledger.store.dialect import Dialect, quoted
from ledger.store.entry_breaches import EntryBreach, breaches_at
from ledger.store.transaction import Transaction

_COLUMNS = 'f."address", f."index", f."position", f."author", f."recorded_ms", f."body"'


class Said(msgspec.Struct):
    """The parts of an entry that a fold reads; the decoder skips the others."""

    author: str
    recorded_at: str
    said: dict[str, Any]
    breaches: list[EntryBreach]


decode_said = msgspec.json.Decoder(Said).decode


class Opened(NamedTuple):
    """An entry's records with their withheld fields opened, and its breaches."""

    records: tuple[Record, ...]
    breaches: list[EntryBreach]


class BodyReader:
    """Reads standing bodies by node or by address, from the standing views or from those under ``suffix``."""

    def __init__(self, dialect: Dialect, suffix: str = "") -> None:
        """Write the statements, once."""
        fact, about = quoted("fact" + suffix), quoted("about" + suffix)
        node, address, index = map(dialect.any_of, ('a."node"', 'f."address"', '"index"'))
        self._told = (
            f'SELECT a."node", {_COLUMNS} FROM {about} a JOIN {fact} f ON f."address" = a."address" '
            f'WHERE f."standing" AND {node} ORDER BY a."node", a."index", a."position"'
        )
        self._body = f'SELECT {_COLUMNS} FROM {fact} f WHERE f."standing" AND {address}'
        self._entries = f'SELECT "index", "bytes" FROM "entry" WHERE {index}'
        self._openings = f'SELECT "index", "path", "value" FROM "opening" WHERE "sealing" = \'withheld\' AND {index}'

    def told(self, transaction: Transaction, nodes: Sequence[str]) -> dict[str, Sequence[Row]]:
        """The standing facts about each node, in address order."""
        found = transaction.rows_of(self._told, nodes)
        facts = self._facts(transaction, [row[1:] for row in found])
        told: defaultdict[str, list[Row]] = defaultdict(list)
        for row, fact in zip(found, facts, strict=True):
            told[row[0]].append(Told(node=row[0], index=fact.index, position=fact.position, fact=fact))
        return dict(told)

    def body(self, transaction: Transaction, addresses: Sequence[str]) -> dict[str, Sequence[Row]]:
        """The standing body of the fact at each address; none for what is not of a plain kind (a correction, say)."""
        facts = self._facts(transaction, transaction.rows_of(self._body, addresses))
        return {
            fact.address: [Body(address=fact.address, fact=fact)]
            for fact in facts
            if type(fact.record) in PLAIN_KIND_OF
        }

    def _facts(self, transaction: Transaction, rows: Sequence[tuple[Any, ...]]) -> list[Fact]:
        places = [_place(index, position, body) for _, index, position, _, _, body in rows]
        opened = self.opened(transaction, {place[0] for place in places})
        return [_fact(row, place, opened[place[0]]) for row, place in zip(rows, places, strict=True)]

    def opened(self, transaction: Transaction, indexes: Iterable[int]) -> dict[int, Opened]:
        """Entries by index, their withheld fields opened."""
        wanted = sorted(indexes)
        openings: defaultdict[int, dict[str, object]] = defaultdict(dict)
        for index, path, value in transaction.rows_of(self._openings, wanted):
            openings[index][path] = msgspec.json.decode(value)
        return {
            index: open_entry(decode_said(raw), openings.get(index, {}))
            for index, raw in filled(transaction, transaction.rows_of(self._entries, wanted))
        }


def open_entry(entry: Said, openings: dict[str, object]) -> Opened:
    """An entry's records with the openings put in, and its breaches."""
    return Opened(open_records(entry.said, openings), entry.breaches)


def _place(index: int, position: int, body: str) -> tuple[int, int, int | None]:
    """Entry, record, and the change within a correction, where a body stands."""
    if not body:
        return index, position, None
    entry, record, change = body.split(".")
    return int(entry), int(record), int(change)


def _fact(row: tuple[Any, ...], place: tuple[int, int, int | None], opened: Opened) -> Fact:
    _, index, position, author, recorded_ms, body = row
    _, at, change = place
    record: Any = opened.records[at]
    if change is not None:
        record = record.changes[change].replacement
    breaches: tuple[Breach, ...] = breaches_at(opened.breaches, at)
    if change is not None:
        breaches = tuple(breach for breach in breaches if breach.change == change)
    return Fact(index, position, record, author, recorded_ms, breaches, body)
