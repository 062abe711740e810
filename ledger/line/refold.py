"""Folding nodes anew: drop every row of a set of nodes and replay the facts about them, in address order.

The rows of a node depend on the facts about it and on nothing else, so this gives what a book would hold in which the
corrected facts had been said rightly the first time.  Lots that go on from one another (split, merged) are folded
together, since an heir takes over columns of the lot it is heir to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TypeVar

from ledger.line.fact import Fact
from ledger.line.holds import breach_hold, enter_breach_holds
from ledger.line.kinds import PLAIN_KIND_OF
from ledger.line.rows import (
    About,
    Allotment,
    Approval,
    BookKey,
    BreachRow,
    Calibration,
    Claim,
    Concession,
    Counter,
    Descent,
    FactRow,
    Gauge,
    Hold,
    Lot,
    LotReading,
    LotStep,
    Measured,
    Model,
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
from ledger.line.views import VIEW_OF

R = TypeVar("R", bound=Row)

HEIRS = ("split", "merge")

OWNED: dict[str, tuple[tuple[type[Row], str], ...]] = {
    "lot": ((Lot, "lot"), (LotStep, "lot"), (Descent, "child"), (LotReading, "lot"), (SampleJudged, "lot")),
    "unit": ((Unit, "unit"), (SerialRow, "unit"), (Measured, "unit"), (Shipped, "unit")),
    "model": ((Model, "model"), (Plan, "model"), (Approval, "model")),
    "gauge": ((Gauge, "gauge"), (Calibration, "gauge")),
    "hold": ((Hold, "hold"),),
    "claim": ((Claim, "claim"),),
    "key": ((BookKey, "key_name"),),
    "rulebook": ((RulebookRow, "rulebook"),),
    "serial": ((Allotment, "serial"),),
    "counter": ((Counter, "counter"),),
}
"""The rows of a node of each sort, and the column that names it."""


def nodes_of(fact: Fact) -> set[str]:
    """Every node whose rows the fact may write."""
    kind = PLAIN_KIND_OF[type(fact.record)]
    return {*kind.about(fact.record), *breach_nodes(fact)}


def breach_nodes(fact: Fact) -> set[str]:
    """The hold nodes that the fact's breaches open."""
    return {f"hold:{breach_hold(fact, n)}" for n, breach in enumerate(fact.breaches) if breach.holds}


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


def _serials(unit: str, state: State) -> set[str]:
    need = Need(SerialRow, "unit", unit)
    return {row.serial for row in state.where(SerialRow, "unit", unit)} if state.has(need) else set()


class _Fold(State):
    """A state that holds only the rows being folded; whatever is not there is simply not there."""

    def where(self, row: type[R], column: str, value: str) -> list[R]:
        return [held for held in self.all_of(row) if getattr(held, column) == value]

    def one(self, row: type[R], value: str) -> R | None:
        return self.held(row, value)


def refold(nodes: set[str], bodies: Mapping[str, Fact | None], state: State) -> None:
    """Put in ``state`` the rows that the nodes have with the facts of ``bodies`` replaced (None: withdrawn)."""
    fold = _Fold()
    for fact in _standing_facts(nodes, bodies, state):
        enter_breach_holds(fact, fold)
        PLAIN_KIND_OF[type(fact.record)].effects(fact, fold)
    _drop_rows(nodes, state)
    for row_type, view in VIEW_OF.items():
        for row in fold.all_of(row_type):
            if view.node(row) in nodes:
                state.put(row)


def _standing_facts(nodes: set[str], bodies: Mapping[str, Fact | None], state: State) -> list[Fact]:
    facts: dict[str, Fact] = {}
    for node in nodes:
        for told in state.where(Told, "node", node) if not _fresh(node, state) else []:
            facts[told.fact.address] = told.fact
    for address, body in bodies.items():
        facts.pop(address, None)
        if body is not None:
            facts[address] = body
    return sorted(facts.values(), key=lambda fact: (fact.index, fact.position))


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
    """Let the fact row, what the fact is about and its breaches follow its new body (None: withdrawn)."""
    for about in state.where(About, "address", address):
        state.drop(about)
    for breach in state.where(BreachRow, "address", address):
        state.drop(breach)
    if body is None:
        state.alter(FactRow, address, standing=False, body=said_at)
        return
    state.alter(FactRow, address, kind=kind_name(body), at_ms=body.at_ms, body=said_at)
    enter_about(body, nodes_of(body), state)


def kind_name(fact: Fact) -> str:
    """The fact's kind as on the wire."""
    return str(type(fact.record).__struct_config__.tag)


def enter_about(fact: Fact, nodes: Iterable[str], state: State) -> None:
    """Enter what a fact is about, and its breaches."""
    for node in nodes:
        state.put(About(node=node, address=fact.address, index=fact.index, position=fact.position))
    for number, breach in enumerate(fact.breaches):
        row = BreachRow(
            breach=breach_hold(fact, number),
            address=fact.address,
            code=breach.code,
            node=breach.node,
            said=breach.said,
        )
        state.put(row)
