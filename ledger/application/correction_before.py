"""The book without one correction: the rows that its facts would have had if it had not been entered.

They are folded anew from what was said before it, as a correction folds them (`ledger.line.refold`), and beside
everything that was said since.  Nothing is written.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import NamedTuple

from ledger.application.judging import Grounds
from ledger.errors import NotFound
from ledger.line.corrections import Change, Correction
from ledger.line.fact import Breach, Fact, parse_address
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy, Measured
from ledger.line.record import Record
from ledger.line.refold import fold_nodes, nodes_of, refold
from ledger.line.rows import About, Approval, Descent, FactRow, Lot, Model, Unit
from ledger.line.shipments import Shipment
from ledger.line.state import State
from ledger.store.bodies import BodyReader
from ledger.store.entry_breaches import breaches_at
from ledger.store.reader import Reader
from ledger.store.selections import Selected, StoredEdges, rows_with


class Landed(NamedTuple):
    """A correction, what each of its facts said before it, and the breaches that it was entered with."""

    address: str
    record: Correction
    before: dict[str, Fact]
    breaches: tuple[Breach, ...]


def find_correction(reader: Reader, fact: str) -> str:
    """The correction at an address, or the newest of the fact there. Raises NotFound."""
    row = reader.one(FactRow, fact)
    if row is None:
        raise NotFound(f"fact {fact} is not in the book", where="fact", mend="correct the address")
    if row.kind == "correction":
        return fact
    if not row.body:
        raise NotFound(
            f"fact {fact} was never corrected",
            expected="a correction, or a fact that one corrected",
            got=row.kind,
            where="fact",
            mend="name the correction; the history of a ball or lot shows by which one a fact was corrected",
        )
    return row.body.rpartition(".")[0]


def landed(reader: Reader, correction: str) -> Landed:
    """A correction of the book. Two queries, and the entries that hold what was said before it."""
    record, breaches = _entered(reader, correction)
    if not isinstance(record, Correction):
        message = f"unreachable: fact {correction} is no correction"
        raise TypeError(message)
    facts = [change.fact for change in record.changes]
    rows: dict[str, FactRow] = {row.address: row for row in rows_with(reader, FactRow, "address", facts)}
    earlier = _earlier(reader, correction, facts)
    before = {fact: _said_before(reader, rows[fact], earlier.get(fact)) for fact in facts}
    return Landed(correction, record, before, breaches)


def _entered(reader: Reader, address: str) -> tuple[Record, tuple[Breach, ...]]:
    index, position = parse_address(address)
    opened = BodyReader(reader.transaction.dialect).opened(reader.transaction, {index})[index]
    return opened.records[position], breaches_at(opened.breaches, position)


def _earlier(reader: Reader, correction: str, facts: Iterable[str]) -> dict[str, str]:
    """The newest correction of each fact before this one."""
    abouts: list[About] = rows_with(reader, About, "node", [f"fact:{fact}" for fact in facts])
    rows: list[FactRow] = rows_with(reader, FactRow, "address", {about.address for about in abouts})
    corrections = {row.address for row in rows if row.kind == "correction"}
    found: dict[str, str] = {}
    for about in sorted(abouts, key=lambda about: (about.index, about.position)):
        if about.address in corrections and (about.index, about.position) < parse_address(correction):
            found[about.node.removeprefix("fact:")] = about.address
    return found


def _said_before(reader: Reader, row: FactRow, earlier: str | None) -> Fact:
    """A fact with its own record, or with the one by which an earlier correction had replaced it."""
    if earlier is None:
        record, body = _entered(reader, row.address)[0], ""
    else:
        changes = _entered(reader, earlier)[0].changes  # type: ignore[attr-defined]  # a correction
        place = next(place for place, change in enumerate(changes) if change.fact == row.address)
        record, body = changes[place].replacement, f"{earlier}.{place}"
    return Fact(row.index, row.position, record, row.author, row.recorded_ms, (), body)


class Before:
    """The rows of the nodes that a correction touched, as they would be without it."""

    def __init__(self, reader: Reader, correction: Landed) -> None:
        """Fold them. Cost: the facts about these nodes. A shipment decides no verdict, and its balls are not folded."""
        self._reader = reader
        facts = {fact: said for fact, said in correction.before.items() if not isinstance(said.record, Shipment)}
        self._state, self.nodes = State(), frozenset[str]()
        if facts:
            undone = Correction(
                at=correction.record.at,
                reason=correction.record.reason,
                changes=tuple(Change(fact=fact, replacement=said.record) for fact, said in facts.items()),
            )
            self._state = reader.state_for([undone])
            nodes = {node for said in facts.values() for node in nodes_of(said)}
            for fact in facts:
                standing = reader.fact(fact)
                nodes |= set() if standing is None else nodes_of(standing)
            touched = fold_nodes(nodes, self._state)
            refold(touched, facts, self._state)
            self.nodes = frozenset(touched)

    def of(self, sort: str) -> list[str]:
        """The names of the nodes of one sort, such as ``unit``."""
        return sorted(node.partition(":")[2] for node in self.nodes if node.startswith(f"{sort}:"))

    def ball(self, one: Selected) -> Selected | None:
        """A ball as it would be; None where it would not be in the book."""
        if f"unit:{one.unit.unit}" not in self.nodes:
            return one._replace(lot=self.lot(one.lot.lot) or one.lot)
        unit = self._state.held(Unit, one.unit.unit)
        lot = None if unit is None else self.lot(unit.lot)
        return None if unit is None or lot is None else Selected(unit, lot, self._state.held(Measured, unit.unit))

    def lot(self, lot: str) -> Lot | None:
        """A lot as it would be."""
        return self._state.held(Lot, lot) if f"lot:{lot}" in self.nodes else self._reader.one(Lot, lot)

    def grounds(self, grounds: Grounds) -> Grounds:
        """What balls would be judged with, from what they are judged with now."""
        models, approvals = dict(grounds.models), dict(grounds.approvals)
        for name in self.of("model"):
            models.pop(name, None)
            model = self._state.held(Model, name)
            if model is not None:
                models[name] = model
            approvals[name] = self._state.where(Approval, "model", name)
        gauges, calibrations, studies = dict(grounds.gauges), dict(grounds.calibrations), dict(grounds.studies)
        for name in self.of("gauge"):
            gauges.pop(name, None)
            gauge = self._state.held(Gauge, name)
            if gauge is not None:
                gauges[name] = gauge
            calibrations[name] = self._state.where(Calibration, "gauge", name)
            studies[name] = self._state.where(GaugeStudy, "gauge", name)
        return grounds._replace(
            models=models, approvals=approvals, calibrations=calibrations, gauges=gauges, studies=studies
        )

    def edges(self) -> EdgesBefore:
        """The edges between lots as they would be."""
        return EdgesBefore(self._reader, self._state, frozenset(self.of("lot")))


class EdgesBefore:
    """Edges between lots: those into a folded lot from the fold, all others from the book."""

    def __init__(self, reader: Reader, state: State, folded: frozenset[str]) -> None:
        """``folded``: lots whose edges ``state`` holds."""
        self._stored, self._folded = StoredEdges(reader), folded
        self._edges = [edge for lot in sorted(folded) for edge in state.where(Descent, "child", lot)]

    def parents(self, lots: Collection[str]) -> list[Descent]:
        """The edges from these lots to what they are made from."""
        stored = self._stored.parents([lot for lot in lots if lot not in self._folded])
        return [*stored, *(edge for edge in self._edges if edge.child in lots)]

    def children(self, lots: Collection[str]) -> list[Descent]:
        """The edges to what is made from these lots."""
        stored = [edge for edge in self._stored.children(lots) if edge.child not in self._folded]
        return [*stored, *(edge for edge in self._edges if edge.parent in lots)]


def subjects(record: Record) -> list[str]:
    """The nodes whose balls a record is about: the ball, or the lot that it makes and not those that it draws from."""
    about = list(PLAIN_KIND_OF[type(record)].about(record))
    units = [node for node in about if node.startswith("unit:")]
    if units:
        return units
    lots = [node for node in about if node.startswith("lot:")]
    return [*lots[:1], *(node for node in about if node.partition(":")[0] in {"model", "gauge", "hold", "claim"})]
