"""The balls that a correction touches: those that its facts speak of, before or after it, and all below their lots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import cached_property

import msgspec
from msgspec import UNSET

from ledger.application.correction_before import Before, Landed, subjects
from ledger.application.impact_pass import WhereCount
from ledger.application.numbers import serial_rows
from ledger.book.canonical import encode
from ledger.line.claim_rows import Claim
from ledger.line.holds import HoldPlaced
from ledger.line.lineage import HoldRule, fits_any
from ledger.line.record import Record
from ledger.line.rows import Hold, Lot
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, rows_with
from ledger.store.whereabouts import UnitPlace, units_of_lots
from ledger.tracing.forward import ForwardTrace, trace_forward
from ledger.tracing.parts import Edges


class Reach:
    """What the facts of a correction speak of, before it and as the book has them now."""

    def __init__(self, reader: Reader, correction: Landed, before: Before) -> None:
        """Look up the subjects, and trace every lot forward, in the edges of now and in those of before."""
        self._reader = reader
        self._edges: list[Edges] = [StoredEdges(reader), *([before.edges()] if before.of("lot") else [])]
        self.units, self.models, self.gauges = set[str](), set[str](), set[str]()
        self._traces: list[tuple[ForwardTrace, str]] = []
        self._roots = set[tuple[str, str]]()
        for record in _records(reader, correction):
            for node in subjects(record):
                self._take(node, record)

    def _take(self, node: str, record: Record) -> None:
        sort, _, name = node.partition(":")
        if sort == "unit":
            self.units.add(name)
        elif sort == "lot":
            self._trace(name)
        elif sort == "model":
            self.models.add(name)
        elif sort == "gauge":
            self.gauges.add(name)
        elif sort == "hold":
            self._take_hold(name, record)
        elif sort == "claim":
            self._take_claim(name)

    def _take_hold(self, hold: str, record: Record) -> None:
        row = self._reader.one(Hold, hold)
        if isinstance(record, HoldPlaced) and record.node is not UNSET:
            self._take(record.node, record)
        elif isinstance(record, HoldPlaced) and record.rule is not UNSET:
            self._take_rule(record.rule)
        elif row is not None and row.rule is not None:
            self._take_rule(msgspec.json.decode(row.rule, type=HoldRule))
        elif row is not None:
            self._take(row.node, record)

    def _take_rule(self, rule: HoldRule) -> None:
        """Every lot that a rule describes; the numbers that it asks for are looked at ball by ball."""
        prefix = "" if rule.serial_prefix is UNSET else rule.serial_prefix
        lots = encode(msgspec.to_builtins(msgspec.structs.replace(rule, serial_prefix=UNSET))).decode()
        for lot in every_row(self._reader.transaction, Lot):
            if fits_any(_of_rule(lots), [lot], None):
                self._trace(lot.lot, prefix)

    def _take_claim(self, claim: str) -> None:
        row = self._reader.one(Claim, claim)
        if row is not None and row.unit is not None:
            self.units.add(row.unit)
        elif row is not None and row.serial is not None:
            self.units.update(one.unit for one in serial_rows(self._reader, row.serial))

    def _trace(self, lot: str, prefix: str = "") -> None:
        if (lot, prefix) in self._roots:
            return
        self._roots.add((lot, prefix))
        self._traces += [(trace_forward(edges, lot), prefix) for edges in self._edges]

    @cached_property
    def shells(self) -> list[str]:
        """The lots that balls of these traces can be of, by id."""
        names = {name for trace, _ in self._traces for name in (*trace.lots, *(one.lot for one in trace.descendants))}
        rows: list[Lot] = rows_with(self._reader, Lot, "lot", sorted(names))
        return sorted(row.lot for row in rows if row.stage == "shell")

    def below(self, without: Collection[str]) -> Iterator[tuple[UnitPlace, str]]:
        """The balls below the lots, but for some, and how surely each is: ``certain`` or ``possible``."""
        for one in units_of_lots(self._reader, self.shells):
            found = {
                trace.of_unit(one.lot, one.place)
                for trace, prefix in self._traces
                if not prefix or (one.serial or "").startswith(prefix)
            } - {None}
            if found and one.unit not in without:
                yield one, "certain" if "certain" in found else "possible"


def count_below(below: Iterable[tuple[UnitPlace, str]], where: WhereCount, seen: set[str] | None) -> Counter[str]:
    """Count balls below lots by how surely they are, and where they are; ``seen`` takes their ids where it is given."""
    certainties = Counter[str]()
    for one, certainty in below:
        certainties[certainty] += 1
        where.take([one.where])
        if seen is not None:
            seen.add(one.unit)
    return certainties


def _records(reader: Reader, correction: Landed) -> Sequence[Record]:
    """What each fact said before, what the correction says, and what stands now."""
    found = [said.record for said in correction.before.values()]
    found += [change.replacement for change in correction.record.changes if change.replacement is not UNSET]
    standing = [reader.fact(fact) for fact in correction.before]
    return [*found, *(fact.record for fact in standing if fact is not None)]


def _of_rule(rule: str) -> Hold:
    """A hold of which only the rule says anything."""
    return Hold(
        hold="",
        node="rule",
        rule=rule,
        stops="",
        reason="",
        recall=False,
        open=True,
        opened_ms=0,
        lifted_by="",
        opened="0.0",
        lifted=None,
    )
