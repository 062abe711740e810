"""After a correction: look again at what descends from the corrected facts, and enter what is wrong with it now.

A correction of a block lot's demoulding can break the rest that its cores had.  The facts below are not touched; what
they turn out to have broken is entered as breaches of a re-check, and holds the product.
"""

from __future__ import annotations

from collections.abc import Iterator

from ledger.book.instant import Instant, format_instant
from ledger.line.corrections import Correction, Recheck
from ledger.line.fact import parse_address
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.rows import About, FactRow
from ledger.line.submission import Submission
from ledger.store.bodies import BodyReader
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, rows_with
from ledger.tracing.forward import trace_forward

MOST_FACTS = 2_000
"""Facts in one re-check; more make several."""

RECHECKED = frozenset(
    str(kind.record.__struct_config__.tag) for kind in PLAIN_KIND_OF.values() if kind.recheck is not None
)


def due_rechecks(reader: Reader, now_ms: int, done: set[str]) -> Iterator[Submission]:
    """The re-checks that corrections still ask for, as submissions whose keys make them said once.

    ``done`` holds corrections that were found to need none; those found now are added. Cost: the corrections, and what
    descends from each new one.
    """
    answered = {about.node for about in _about_rechecks(reader)}
    for row in every_row(reader.transaction, FactRow, '"kind" = ?', ("correction",)):
        if row.address in done or f"fact:{row.address}" in answered:
            continue
        facts = sorted(_facts_below(reader, row.address), key=parse_address)
        done.add(row.address)
        for number, start in enumerate(range(0, len(facts), MOST_FACTS)):
            record = Recheck(
                at=format_instant(Instant(now_ms, 0)),
                because=row.address,
                facts=tuple(facts[start : start + MOST_FACTS]),
            )
            yield Submission(key=f"recheck-{row.address}-{number}", records=(record,))


def _about_rechecks(reader: Reader) -> list[About]:
    rows = every_row(reader.transaction, FactRow, '"kind" = ?', ("recheck",))
    found: list[About] = rows_with(reader, About, "address", [row.address for row in rows])
    return found


def _facts_below(reader: Reader, correction: str) -> set[str]:
    lots = {node.partition(":")[2] for node in _nodes(reader, correction) if node.startswith("lot:")}
    below = set(lots)
    for lot in lots:
        below.update(descendant.lot for descendant in trace_forward(StoredEdges(reader), lot).descendants)
    about: list[About] = rows_with(reader, About, "node", sorted(f"lot:{lot}" for lot in below))
    addresses = {row.address for row in about}
    rows: list[FactRow] = rows_with(reader, FactRow, "address", sorted(addresses))
    corrected = set(_corrected(reader, correction))
    return {row.address for row in rows if row.standing and row.kind in RECHECKED and row.address not in corrected}


def _corrected(reader: Reader, correction: str) -> list[str]:
    return [change.fact for change in _record(reader, correction).changes]


def _nodes(reader: Reader, correction: str) -> set[str]:
    """The nodes that the corrected facts were about as first said, and are about now."""
    nodes: set[str] = set()
    record = _record(reader, correction)
    opened = BodyReader(reader.transaction.dialect).opened(
        reader.transaction, {parse_address(change.fact)[0] for change in record.changes}
    )
    for change in record.changes:
        index, position = parse_address(change.fact)
        first = opened[index].records[position]
        nodes.update(PLAIN_KIND_OF[type(first)].about(first))
        nodes.update(about.node for about in reader.rows(About, "address", change.fact))
    return nodes


def _record(reader: Reader, correction: str) -> Correction:
    index, position = parse_address(correction)
    record = BodyReader(reader.transaction.dialect).opened(reader.transaction, {index})[index].records[position]
    if not isinstance(record, Correction):
        message = f"unreachable: fact {correction} is no correction"
        raise TypeError(message)
    return record
