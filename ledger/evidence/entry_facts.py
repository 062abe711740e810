"""What the entries of a dossier say: the rows of its lots, models, gauges and keys, and the facts about each ball.

The same effects as in the book, over the entries at hand alone: a fact that a later entry of the dossier corrects has
its corrected body. Sealed fields are not needed for any of it: a withheld one reads as ``0`` here, whether it is opened
or not, and nothing that is taken from these rows depends on one (amounts do, and are not taken).

Facts about balls are remembered by address and read again when their sheet comes, so memory does not grow with the
records but with the lots.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import msgspec

from ledger.book.instant import instant_ms
from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.proved_entry import ProvedEntry
from ledger.line import book_keys, gauge_studied, gauges, lot_changes, materials, models, moulding
from ledger.line.corrections import Correction
from ledger.line.fact import Fact, parse_address
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.reading_rows import Calibration, Gauge, GaugeStudy
from ledger.line.record import Record, sealed_places
from ledger.line.refold import OWNED, fold_fresh, kind_name
from ledger.line.release_policy import ReleasePolicySet, newest_policy, policy_row
from ledger.line.rows import Approval, Descent, Lot, Plan, ReleasePolicy
from ledger.line.state import State
from ledger.line.submission import record_type_of

SHARED: frozenset[type[Record]] = frozenset(
    {
        *(
            kind.record
            for module in (book_keys, gauges, gauge_studied, materials, models, moulding)
            for kind in module.KINDS
        ),
        lot_changes.LotSplit,
        lot_changes.LotsMerged,
    }
)
"""The kinds whose rows several balls rest on."""


class Body(NamedTuple):
    """How a correction states a fact: its record (None: withdrawn), its own address, and the entry's time."""

    record: Record | None
    address: str
    author: str
    recorded_ms: int


class HeldEdges:
    """Edges of descent in memory, for tracing."""

    def __init__(self, edges: Iterable[Descent]) -> None:
        """Hold the edges by child and by parent."""
        self._up: defaultdict[str, list[Descent]] = defaultdict(list)
        self._down: defaultdict[str, list[Descent]] = defaultdict(list)
        for edge in edges:
            self._up[edge.child].append(edge)
            self._down[edge.parent].append(edge)

    def parents(self, lots: Collection[str]) -> Iterable[Descent]:
        """Every edge whose child is one of the lots."""
        return [edge for lot in lots for edge in self._up.get(lot, ())]

    def children(self, lots: Collection[str]) -> Iterable[Descent]:
        """Every edge whose parent is one of the lots."""
        return [edge for lot in lots for edge in self._down.get(lot, ())]


class EntryFacts:
    """Takes entries in ascending order; after `settle`, gives rows and the facts about a unit.

    ``is_wanted(unit)`` says whether a unit has a sheet; facts about others are let go, and about all without it. ``corrected``: the units of which a
    fact no longer stands as it was said.
    """

    def __init__(self, is_wanted: Callable[[str], bool] | None) -> None:
        """Start without entries."""
        self._is_wanted = is_wanted
        self._shared: dict[str, Fact] = {}
        self._bodies: dict[str, Body] = {}
        self._of_unit: defaultdict[str, list[str]] = defaultdict(list)
        self.rows = State()
        self.edges = HeldEdges(())
        self._calibrations: dict[str, list[Calibration]] = {}
        self._gauges: dict[str, Gauge] = {}
        self._studies: dict[str, list[GaugeStudy]] = {}
        self._approvals: dict[str, list[Approval]] = {}
        self._lots: dict[str, Lot] = {}
        self._plans: dict[str, list[Plan]] = {}
        self._policies: list[ReleasePolicy] = []
        self._closings: dict[str, Fact] = {}
        self._closed: dict[str, Fact] = {}
        self.corrected: set[str] = set()

    def take(self, entry: ProvedEntry, records: Sequence[Record]) -> None:
        """Take the records of the next entry."""
        recorded_ms = instant_ms(entry.recorded_at)
        for position, record in enumerate(records):
            fact = Fact(entry.index, position, record, entry.author, recorded_ms)
            if isinstance(record, Correction):
                for place, change in enumerate(record.changes):
                    replacement = change.replacement if isinstance(change.replacement, Record) else None
                    self._bodies[change.fact] = Body(replacement, f"{fact.address}.{place}", entry.author, recorded_ms)
            elif isinstance(record, ReleasePolicySet):
                self._policies.append(policy_row(fact))
            elif isinstance(record, lot_changes.LotClosed):
                self._closings[fact.address] = fact
            elif type(record) in SHARED:
                self._shared[fact.address] = fact
            else:
                self._note_units(record, fact.address)

    def _note_units(self, record: Record, address: str) -> None:
        if self._is_wanted is None:
            return
        for unit in units_of(record):
            if self._is_wanted(unit):
                self._of_unit[unit].append(address)

    def settle(self) -> None:
        """Put corrected bodies in the place of what they correct, and fold what balls share. Raises DossierRejected."""
        self._put_corrections()
        self.rows = fold_facts(self._shared.values())
        self._shared.clear()
        self.edges = HeldEdges(self.rows.all_of(Descent))
        self._lots = {row.lot: row for row in self.rows.all_of(Lot)}
        for row in self.rows.all_of(Calibration):
            self._calibrations.setdefault(row.gauge, []).append(row)
        self._gauges = {gauge.gauge: gauge for gauge in self.rows.all_of(Gauge)}
        for study in self.rows.all_of(GaugeStudy):
            self._studies.setdefault(study.gauge, []).append(study)
        for approval in self.rows.all_of(Approval):
            self._approvals.setdefault(approval.model, []).append(approval)
        for plan in self.rows.all_of(Plan):
            self._plans.setdefault(plan.model, []).append(plan)
        for closing in sorted(self._closings.values(), key=_order):
            self._closed[closing.record.lot] = closing  # type: ignore[attr-defined]  # a closing
        self._closings.clear()

    def _put_corrections(self) -> None:
        for unit, addresses in self._of_unit.items():
            standing = [address for address in addresses if address not in self._bodies]
            if len(standing) < len(addresses):
                self.corrected.add(unit)
                addresses[:] = standing
        for address, body in self._bodies.items():
            self._shared.pop(address, None)
            self._closings.pop(address, None)
            if body.record is None:
                continue
            if isinstance(body.record, lot_changes.LotClosed):
                self._closings[address] = corrected_fact(address, body)
            elif type(body.record) in SHARED:
                self._shared[address] = corrected_fact(address, body)
            else:
                self._note_units(body.record, address)

    def unit_facts(self, unit: str, read: Callable[[int], tuple[ProvedEntry, Sequence[Record]]]) -> list[Fact]:
        """The standing facts about a unit in address order; ``read(index)`` gives an entry again, with its records."""
        facts = []
        for address in self._of_unit.get(unit, ()):
            body = self._bodies.get(address)
            if body is not None:
                facts.append(corrected_fact(address, body))
                continue
            index, position = parse_address(address)
            entry, records = read(index)
            facts.append(Fact(index, position, records[position], entry.author, instant_ms(entry.recorded_at)))
        return sorted(facts, key=_order)

    def speaks_of(self, unit: str) -> bool:
        """Whether a fact about the unit stands."""
        return bool(self._of_unit.get(unit))

    def calibrations(self) -> Mapping[str, Sequence[Calibration]]:
        """The calibrations of each gauge."""
        return self._calibrations

    def gauges(self) -> Mapping[str, Gauge]:
        """Every gauge that an entry registers, by id."""
        return self._gauges

    def studies(self) -> Mapping[str, Sequence[GaugeStudy]]:
        """The studies of each gauge."""
        return self._studies

    def approvals(self, model: str) -> Sequence[Approval]:
        """The approvals of a model."""
        return self._approvals.get(model, ())

    def plans(self, model: str) -> Sequence[Plan]:
        """The process plans of a model."""
        return self._plans.get(model, ())

    def closing(self, lot: str) -> Fact | None:
        """The newest fact that closed a lot; None where no entry closes it."""
        return self._closed.get(lot)

    def policy(self) -> ReleasePolicy | None:
        """The newest release policy; None where no entry states one."""
        return newest_policy(self._policies)

    def lots(self) -> Mapping[str, Lot]:
        """Every lot that an entry makes, by id."""
        return self._lots


def corrected_fact(address: str, body: Body) -> Fact:
    """The fact at an address as its correction states it."""
    index, position = parse_address(address)
    if body.record is None:
        raise DossierRejected("fact is withdrawn", where=address)
    return Fact(index, position, body.record, body.author, body.recorded_ms, body=body.address)


def units_of(record: Record) -> list[str]:
    """The units that a record is about; none for one that speaks about facts."""
    kind = PLAIN_KIND_OF.get(type(record))
    nodes = () if kind is None else kind.about(record)
    return [node.partition(":")[2] for node in nodes if node.startswith("unit:")]


def fold_facts(facts: Iterable[Fact], only: Collection[str] | None = None) -> State:
    """The rows that the facts give by themselves, for every node that they are about, or for those named.

    The fold is the one that corrections use in the book. Raises the errors of the facts' own fields.
    """
    said = list(facts)
    if only is not None:
        return fold_fresh(said, frozenset(only))
    nodes = {node for fact in said for node in PLAIN_KIND_OF[type(fact.record)].about(fact.record)}
    return fold_fresh(said, {node for node in nodes if node.partition(":")[0] in OWNED})


def read_records(bodies: Sequence[dict[str, Any]], where: str) -> tuple[Record, ...]:
    """The records of an entry, with withheld fields read as ``0`` and erasable ones left out; changes ``bodies``.

    Raises MalformedDossier for records that fit no kind.
    """
    records = []
    for position, body in enumerate(bodies):
        try:
            record_type = record_type_of(body, position)
            for place in list(sealed_places(record_type, body)):
                if place.sealing == "erasable":
                    del place.holder[place.key]
                else:
                    place.holder[place.key] = "0"
            records.append(msgspec.convert(body, record_type))
        except (LedgerError, msgspec.ValidationError, LookupError, TypeError, AttributeError) as error:
            raise MalformedDossier(
                "record does not fit its kind", got=str(error), where=f"{where}, record {position}"
            ) from error
    return tuple(records)


def fact_kind(fact: Fact) -> str:
    """The kind of a fact as on the wire."""
    return kind_name(fact)


def _order(fact: Fact) -> tuple[int, int]:
    return fact.index, fact.position
