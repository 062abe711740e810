"""After a correction: look again at what descends from the corrected facts, and enter what is wrong with it now.

A correction of a block lot's demoulding can break the rest that its cores had, and one of a gauge's range can show a
reading that the gauge cannot have shown.  These facts are not touched; what they turn out to have broken is entered as
breaches of a re-check, and holds the product.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec import UNSET

from ledger.book.instant import Instant, format_instant
from ledger.line.corrections import Correction, Recheck
from ledger.line.fact import parse_address
from ledger.line.gauge_range import outside_range
from ledger.line.gauges import GaugeRegistered
from ledger.line.inspections import Inspection
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.lot_changes import LotsMerged, LotSplit
from ledger.line.moulding import BlocksMoulded, CoresPoured, ShellsPoured
from ledger.line.reading_rows import Gauge
from ledger.line.rows import About, FactRow
from ledger.line.submission import Submission
from ledger.store.bodies import BodyReader
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, gauge_uses, rows_with
from ledger.tracing.forward import trace_forward

DUTIES = "a-duties"
"""The author of what the background work says: no person, and no account that anyone can log in to."""

MOST_FACTS = 100
"""Facts in one re-check, so that an entry can hold what is wrong with each; the last one of a correction has fewer."""

RECHECKED = frozenset(
    str(kind.record.__struct_config__.tag)
    for kind in PLAIN_KIND_OF.values()
    if kind.recheck is not None and kind.record is not Inspection
)
"""The kinds that are looked at below a lot; readings rest on their gauge alone."""

_READ_AT_ONCE = 500
"""Inspections whose bodies are held at one time."""


def due_rechecks(reader: Reader, now_ms: int, done: set[str]) -> Iterator[Submission]:
    """The re-checks that corrections still ask for, as submissions whose keys make them said once.

    ``done`` holds corrections that need no more; those found now are added. What is due stays due until it is entered:
    the book itself tells what was said, so that nothing is said twice or left out by a process that was stopped.
    Cost: the corrections, and what descends from each one that is not done; of a correction that states a gauge's range,
    every inspection with that gauge, each time until one outside it was found and looked at again.
    """
    corrections = every_row(reader.transaction, FactRow, '"kind" = ?', ("correction",))
    waiting = [row.address for row in corrections if row.address not in done]
    said = _said_because(reader, waiting)
    for correction in waiting:
        earlier = said.get(correction, [])
        facts: list[str] = []
        if all(len(one) == MOST_FACTS for one in earlier):
            resting = _facts_below(reader, correction) | _read_outside(reader, correction)
            facts = sorted(resting.difference(*earlier), key=parse_address)
        if not facts:
            done.add(correction)
        for number, start in enumerate(range(0, len(facts), MOST_FACTS), len(earlier)):
            record = Recheck(
                at=format_instant(Instant(now_ms, 0)),
                because=correction,
                facts=tuple(facts[start : start + MOST_FACTS]),
            )
            yield Submission(key=f"recheck-{correction}-{number}", records=(record,))


def _said_because(reader: Reader, corrections: list[str]) -> dict[str, list[set[str]]]:
    """Correction to the facts of each re-check that the duties entered because of it; a person's own count for nothing."""
    about_them: list[About] = rows_with(reader, About, "node", [f"fact:{correction}" for correction in corrections])
    rows: list[FactRow] = rows_with(reader, FactRow, "address", {one.address for one in about_them})
    own = {row.address for row in rows if row.author == DUTIES}
    because = {one.address: one.node.partition(":")[2] for one in about_them if one.address in own}
    facts: dict[str, set[str]] = {address: set() for address in because}
    for about in rows_with(reader, About, "address", list(because)):
        sort, _, name = about.node.partition(":")
        if sort == "fact":  # it is also about the holds that it opened
            facts[about.address].add(name)
    said: dict[str, list[set[str]]] = {}
    for address, correction in because.items():
        said.setdefault(correction, []).append(facts[address] - {correction})
    return said


def _facts_below(reader: Reader, correction: str) -> set[str]:
    """What stood when the correction was entered, and rests on what it corrected; later facts were judged knowing it."""
    below = _lots_made(reader, correction)
    for lot in list(below):
        below.update(descendant.lot for descendant in trace_forward(StoredEdges(reader), lot).descendants)
    about: list[About] = rows_with(reader, About, "node", sorted(f"lot:{lot}" for lot in below))
    rows: list[FactRow] = rows_with(reader, FactRow, "address", sorted({row.address for row in about}))
    end, corrected = parse_address(correction), {change.fact for change in _record(reader, correction).changes}
    return {
        row.address
        for row in rows
        if row.standing and row.kind in RECHECKED and row.address not in corrected and (row.index, row.position) < end
    }


def _read_outside(reader: Reader, correction: str) -> set[str]:
    """The inspections before a correction of a gauge's range that have a value outside it."""
    gauges: dict[str, Gauge | None] = {}
    for change in _record(reader, correction).changes:
        said = change.replacement
        if isinstance(said, GaugeRegistered) and (said.low is not UNSET or said.high is not UNSET):
            gauges[said.gauge] = reader.one(Gauge, said.gauge)
    end = parse_address(correction)
    uses = {address for gauge in gauges for address in gauge_uses(reader, gauge) if parse_address(address) < end}
    addresses = sorted(uses, key=parse_address)
    bodies = BodyReader(reader.transaction.dialect)
    found: set[str] = set()
    for start in range(0, len(addresses), _READ_AT_ONCE):
        told = bodies.body(reader.transaction, addresses[start : start + _READ_AT_ONCE])
        rows: list[Any] = [row for bodied in told.values() for row in bodied]
        found.update(row.address for row in rows if any(outside_range(row.fact.record, gauges.get)))
    return found


def _lots_made(reader: Reader, correction: str) -> set[str]:
    """The lots with windows below them that the corrected facts made, as first said and as said now.

    What they drew from is as it was, and no window begins at a material or a batch.
    """
    record = _record(reader, correction)
    opened = BodyReader(reader.transaction.dialect).opened(
        reader.transaction, {parse_address(change.fact)[0] for change in record.changes}
    )
    made: set[str] = set()
    for change in record.changes:
        index, position = parse_address(change.fact)
        for said in (opened[index].records[position], change.replacement):
            if isinstance(said, BlocksMoulded | CoresPoured | ShellsPoured):
                made.add(said.lot)
            elif isinstance(said, LotSplit | LotsMerged):
                made.add(said.into)
    return made


def _record(reader: Reader, correction: str) -> Correction:
    index, position = parse_address(correction)
    record = BodyReader(reader.transaction.dialect).opened(reader.transaction, {index})[index].records[position]
    if not isinstance(record, Correction):
        message = f"unreachable: fact {correction} is no correction"
        raise TypeError(message)
    return record
