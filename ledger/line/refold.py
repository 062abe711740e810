"""Folding nodes anew: drop every row of a set of nodes and replay the facts about them, in address order.

The rows of a node depend on the facts about it and on nothing else, so this gives what a book would hold in which the
corrected facts had been said rightly the first time.  Lots that go on from one another (split, merged) are folded
together, since an heir takes over columns of the lot it is heir to.  A correction may make a fact speak of a lot that was
entered after it; the fact that made the lot is then folded first.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping
from typing import Any, TypeVar

import msgspec
from msgspec import UNSET

from ledger.line.balls import BallEngraved, UnitStarted
from ledger.line.case_rows import Case, CaseAnswer, CaseHold, CaseNotice, Consignee
from ledger.line.cases import CaseOpened
from ledger.line.claim_rows import Claim, ClaimEvidence, FailureMode, Replacement, WarrantyTermsRow
from ledger.line.claims import ClaimOpened
from ledger.line.fact import Breach, Fact, is_doubtful, is_late
from ledger.line.gauges import GaugeRegistered
from ledger.line.holds import HoldPlaced, breach_hold, enter_breach_holds
from ledger.line.import_rows import ImportedStretch, ImportedUnit
from ledger.line.imports import BallImported
from ledger.line.inspections import Inspection
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.lineage import HEIRS, hold_at
from ledger.line.lot_changes import LotsMerged, LotSplit
from ledger.line.making_rows import Made, UnitStep
from ledger.line.materials import BatchMixed, MaterialReceived
from ledger.line.models import ModelDefined
from ledger.line.moulding import BlocksMoulded, CoresPoured, ShellsPoured
from ledger.line.plant_rules import rules_at
from ledger.line.reading_rows import Calibration, Gauge, GaugeSet, GaugeStudy, GaugeUse, LotReading, Measured
from ledger.line.rows import (
    About,
    Allotment,
    Approval,
    BookKey,
    BreachRow,
    ChecklistRow,
    Concession,
    Counter,
    Descent,
    FactRow,
    Hold,
    Lot,
    LotStep,
    Model,
    ModelJudged,
    Plan,
    Row,
    RulebookRow,
    SampleJudged,
    SerialRow,
    Shipped,
    Told,
    Unit,
)
from ledger.line.state import Need, State
from ledger.line.temperature_rows import TemperatureLog
from ledger.line.views import VIEW_OF

R = TypeVar("R", bound=Row)

Judge = Callable[[Fact, State], Fact]
"""Gives a corrected fact with its breaches, from what stands before it; raises a `Refused` when it may not stand."""

ONCE = "once:"
"""Before the node that a corrected fact used to be about."""

OWNED: dict[str, tuple[tuple[type[Row], str], ...]] = {
    "lot": (
        (Lot, "lot"),
        (LotStep, "lot"),
        (Made, "lot"),
        (Descent, "child"),
        (LotReading, "lot"),
        (SampleJudged, "lot"),
        (TemperatureLog, "lot"),
    ),
    "unit": (
        (Unit, "unit"),
        (UnitStep, "unit"),
        (SerialRow, "unit"),
        (Measured, "unit"),
        (GaugeUse, "unit"),
        (Shipped, "unit"),
        (ImportedUnit, "unit"),
    ),
    "import": ((ImportedStretch, "file"),),
    "consignee": ((Consignee, "consignee"),),
    "case": ((Case, "case"), (CaseHold, "case"), (CaseNotice, "case"), (CaseAnswer, "case")),
    "model": ((Model, "model"), (Plan, "model"), (Approval, "model"), (ModelJudged, "model")),
    "gauge": ((Gauge, "gauge"), (Calibration, "gauge"), (GaugeStudy, "gauge")),
    "hold": ((Hold, "hold"),),
    "claim": ((Claim, "claim"), (ClaimEvidence, "claim"), (Replacement, "claim")),
    "mode": ((FailureMode, "mode"),),
    "warranty-terms": ((WarrantyTermsRow, "terms"),),
    "key": ((BookKey, "key_name"),),
    "rulebook": ((RulebookRow, "rulebook"),),
    "checklist": ((ChecklistRow, "checklist"),),
    "serial": ((Allotment, "serial"),),
    "counter": ((Counter, "counter"),),
}
"""The rows of a node of each sort, and the column that names it."""

MAIN: dict[str, type[Row]] = {"lot": Lot, "unit": Unit, "model": Model, "gauge": Gauge, "claim": Claim, "case": Case}
"""The row without which the other facts about a node speak of nothing."""

MAKERS = frozenset(
    {
        *(MaterialReceived, BatchMixed, BlocksMoulded, CoresPoured, ShellsPoured, LotSplit, LotsMerged),
        *(UnitStarted, BallEngraved, ModelDefined, GaugeRegistered, ClaimOpened, CaseOpened, HoldPlaced),
        BallImported,
    }
)
"""The kinds that make a node: the first that they are about."""


def nodes_of(fact: Fact) -> set[str]:
    """Every node whose rows the fact may write."""
    return {*_about(fact), *breach_nodes(fact)}


def _about(fact: Fact) -> list[str]:
    kind = PLAIN_KIND_OF.get(type(fact.record))
    return [] if kind is None else list(kind.about(fact.record))


def breach_nodes(fact: Fact) -> set[str]:
    """The hold nodes that the fact's breaches open."""
    return {f"hold:{breach_hold(fact, n)}" for n, breach in enumerate(fact.breaches) if breach.holds}


def own_breaches(fact: Fact) -> tuple[Breach, ...]:
    """The breaches that a fact itself holds product for; those of a correction's changes belong to the changed facts."""
    return fact.breaches if fact.body else tuple(breach for breach in fact.breaches if breach.change is UNSET)


def fold_nodes(nodes: Iterable[str], state: State) -> set[str]:
    """The nodes that are folded together with these: lots with the lots they are heir to, and their heirs."""
    found, waiting = set[str](), list(nodes)
    while waiting:
        node = waiting.pop()
        if node in found or node.partition(":")[0] not in OWNED:
            continue
        found.add(node)
        sort, _, name = node.partition(":")
        if sort == "lot":
            waiting.extend(f"lot:{other}" for other in _heirs(name, state))
    return found


def _heirs(lot: str, state: State) -> Iterator[str]:
    for column, other in (("child", "parent"), ("parent", "child")):
        if state.has(Need(Descent, column, lot)):
            for edge in state.where(Descent, column, lot):
                if edge.part in HEIRS:
                    yield getattr(edge, other)


def refold_needs(nodes: Iterable[str], state: State) -> Iterator[Need]:
    """What `refold` reads and drops: each node's rows, and the standing facts about it."""
    for node in fold_nodes(nodes, state):
        sort, _, name = node.partition(":")
        yield Need(Told, "node", node)
        for row, column in OWNED[sort]:
            yield Need(row, column, name)
        if sort == "lot":
            yield Need(Descent, "parent", name)
            yield Need(Concession, "node", node)
        if sort == "unit":
            yield Need(Concession, "node", node)
            for bearer in _serials(name, state):
                yield Need(SerialRow, "serial", bearer)
            # A replaced release is judged by the readings that stood at its place, whatever stands now.
            for gauge in _gauges(node, state):
                yield Need(Calibration, "gauge", gauge)


def _gauges(unit: str, state: State) -> set[str]:
    need = Need(Told, "node", unit)
    told = [row.fact.record for row in state.where(Told, "node", unit)] if state.has(need) else []
    return {reading.gauge for record in told if isinstance(record, Inspection) for reading in record.readings}


def _serials(unit: str, state: State) -> set[str]:
    need = Need(SerialRow, "unit", unit)
    return {row.serial for row in state.where(SerialRow, "unit", unit)} if state.has(need) else set()


class _Fold(State):
    """A state that holds only the rows being folded; whatever is not there is simply not there."""

    def where(self, row: type[R], column: str, value: str) -> list[R]:
        """The rows folded so far, by the index that every change keeps."""
        self.expect(row, column, value)
        return super().where(row, column, value)

    def one(self, row: type[R], value: str) -> R | None:
        return self.held(row, value)

    def put(self, row: Row) -> None:
        self.enter(row, VIEW_OF[type(row)].lookups)


class _Meanwhile(State):
    """What stands in the middle of a fold: the folded rows of the nodes being folded, and the rest of the book as it is.

    Holds are the exception: it shows them as they stood at ``place``, the index and position of the fact being judged;
    with ``or_now`` those that are open now too.
    """

    def __init__(self, fold: State, rest: State, nodes: set[str]) -> None:
        super().__init__()
        self._fold, self._rest, self._nodes = fold, rest, nodes
        self.place = (0, 0)
        self.or_now = False

    def memo(self, row: type[Row]) -> dict[Any, Any]:  # noqa: ARG002  # a State's, which remembers
        """Nothing is remembered: the rows under it change without its knowing."""
        return {}

    def has(self, need: Need) -> bool:
        return self._rest.has(need)

    def where(self, row: type[R], column: str, value: str) -> list[R]:
        node = VIEW_OF[row].node
        rest = [other for other in self._rest.where(row, column, value) if node(other) not in self._nodes]
        found: list[Any] = rest + [own for own in self._fold.where(row, column, value) if node(own) in self._nodes]
        if row is Hold:
            found = [then for hold in found if (then := self._stood(hold)) is not None]
        return found

    def _stood(self, hold: Hold) -> Hold | None:
        return hold if self.or_now and hold.open else hold_at(hold, self.place)

    def one(self, row: type[R], value: str) -> R | None:
        found = self.held(row, value)
        if found is None:
            self._rest.one(row, value)  # says so where nobody asked for it
        return found

    def held(self, row: type[R], key: str) -> R | None:
        node = VIEW_OF[row].node
        own, other = self._fold.held(row, key), self._rest.held(row, key)
        if own is not None and node(own) in self._nodes:
            return own
        return other if other is not None and node(other) not in self._nodes else None


def refold(
    nodes: set[str],
    bodies: Mapping[str, Fact | None],
    state: State,
    judge: Judge | None = None,
    moved: Container[str] = (),
) -> dict[str, Fact]:
    """Put in ``state`` the rows that the nodes have with the facts of ``bodies`` replaced (None: withdrawn).

    With ``judge``, each replaced fact is judged at its own place in the order, by the holds that stood there; one whose
    address is in ``moved`` by those that are open now as well.  Gives the facts folded, by address.
    """
    fold = _Fold()
    meanwhile = _Meanwhile(fold, state, nodes)
    facts = _standing_facts(nodes, bodies, state)
    for fact in _in_order(facts):
        if judge is not None and fact.address in bodies:
            meanwhile.place, meanwhile.or_now = (fact.index, fact.position), fact.address in moved
            fact = facts[fact.address] = judge(fact, meanwhile)  # noqa: PLW2901  # the same fact, with what is wrong with it
        enter_breach_holds(msgspec.structs.replace(fact, breaches=own_breaches(fact)), fold)
        if (kind := PLAIN_KIND_OF.get(type(fact.record))) is not None:
            kind.effects(fact, fold)
    _drop_rows(nodes, state)
    for row in _rows_of(fold, nodes):
        state.put(row)
    return facts


def fold_fresh(facts: Iterable[Fact], nodes: Container[str]) -> State:
    """The rows that the nodes have by these facts alone, as `refold` folds them, where there is no book beside them."""
    fold, rows = _Fold(), State()
    for fact in _in_order({fact.address: fact for fact in facts}):
        if fact.breaches:
            enter_breach_holds(msgspec.structs.replace(fact, breaches=own_breaches(fact)), fold)
        if (kind := PLAIN_KIND_OF.get(type(fact.record))) is not None:
            kind.effects(fact, fold)
    for row in _rows_of(fold, nodes):
        rows.hold(row)
    return rows


def _rows_of(fold: _Fold, nodes: Container[str]) -> Iterator[Row]:
    for row_type, view in VIEW_OF.items():
        for row in fold.all_of(row_type):
            # A set of gauges is no node's: it is there for any inspection that names it.
            if row_type is GaugeSet or view.node(row) in nodes:
                yield row


def _standing_facts(nodes: set[str], bodies: Mapping[str, Fact | None], state: State) -> dict[str, Fact]:
    facts: dict[str, Fact] = {}
    for node in nodes:
        for told in state.where(Told, "node", node) if not _fresh(node, state) else []:
            facts[told.fact.address] = told.fact
    for address, body in bodies.items():
        facts.pop(address, None)
        if body is not None:
            facts[address] = body
    return facts


def _in_order(facts: Mapping[str, Fact]) -> list[Fact]:
    """By address; but the fact that made a node comes before every other fact about it."""
    by_address = sorted(facts.values(), key=lambda fact: (fact.index, fact.position))
    makers: dict[str, Fact] = {}
    for fact in by_address:
        if type(fact.record) in MAKERS:
            makers.setdefault(_about(fact)[0], fact)
    ordered: dict[str, Fact] = {}
    waiting = by_address[::-1]
    begun: set[str] = set()
    while waiting:
        fact = waiting[-1]
        first = [makers[node] for node in _about(fact) if node in makers and makers[node].address not in begun]
        if fact.address not in begun and first:
            begun.add(fact.address)
            waiting.extend(maker for maker in first if maker.address != fact.address)
            continue
        begun.add(fact.address)
        waiting.pop()
        ordered.setdefault(fact.address, fact)
    return list(ordered.values())


def _fresh(node: str, state: State) -> bool:
    """Whether a node is a hold that the correction itself opens: nothing is stored about it yet."""
    return node.startswith("hold:B") and not state.has(Need(Told, "node", node))


def _drop_rows(nodes: set[str], state: State) -> None:
    for node in nodes:
        if _fresh(node, state):
            continue
        sort, _, name = node.partition(":")
        owned: list[tuple[type[Row], str]] = [
            *OWNED[sort],
            *([(Concession, "node")] if sort in {"lot", "unit"} else []),
        ]
        for row_type, column in owned:
            for row in state.where(row_type, column, node if row_type is Concession else name):
                state.drop(row)


def restate(address: str, body: Fact | None, state: State, said_at: str) -> None:
    """Let the fact row, what the fact is about and its breaches follow its new body (None: withdrawn).

    A node that it is about no longer keeps it under ``once:``, so that its history still shows what was said of it.
    """
    stays = set() if body is None else nodes_of(body)
    for about in state.where(About, "address", address):
        if about.node not in stays and not about.node.startswith(ONCE):
            state.drop(about)
            state.put(msgspec.structs.replace(about, node=f"{ONCE}{about.node}"))
    for breach in state.where(BreachRow, "address", address):
        state.drop(breach)
    if body is None:
        state.alter(FactRow, address, standing=False, body=said_at)
        return
    rules, sort = rules_at(body.index, state), PLAIN_KIND_OF[type(body.record)].sort
    marks = {"late": is_late(body, sort, rules.late_ms), "doubtful": is_doubtful(body, rules.doubtful_ms)}
    state.alter(FactRow, address, kind=kind_name(body), at_ms=body.at_ms, body=said_at, **marks)
    enter_about(body, nodes_of(body), state)


def kind_name(fact: Fact) -> str:
    """The fact's kind as on the wire."""
    return str(type(fact.record).__struct_config__.tag)


def enter_about(fact: Fact, nodes: Iterable[str], state: State) -> None:
    """Enter what a fact is about, and its breaches."""
    address, index, position = fact.address, fact.index, fact.position
    for node in nodes:
        state.put(About(node=node, address=address, index=index, position=position))
    for number, breach in enumerate(fact.breaches):
        row = BreachRow(
            breach=breach_hold(fact, number),
            address=fact.address,
            code=breach.code,
            node=breach.node,
            said=breach.said,
        )
        state.put(row)
