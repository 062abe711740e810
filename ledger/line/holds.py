"""Holds placed and lifted, and concessions (ISO 9000:2015 3.12) on product that a breach holds.

A hold names a node or a rule, never a list, and what it stops: use, work, release, shipment (by default the last two).
A breach opens a hold by itself: its id is ``B`` and the address of the fact, then the number of the breach.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import ANY, HoldRule
from ledger.line.record import Id, Record, Slug
from ledger.line.rows import Concession as ConcessionRow
from ledger.line.rows import Hold, Lot, Row, Unit
from ledger.line.state import Need, State

Stop = Literal["use", "work", "release", "shipment"]
NodeText = Annotated[str, Meta(pattern=r"^(lot|unit):[A-Z0-9][A-Z0-9._-]{0,39}\Z", description="lot:ID or unit:ID")]


class HoldPlaced(Record, frozen=True, kw_only=True, tag="hold-placed"):
    """Product is held: one node, or everything that a rule describes. A recall takes two people to lift."""

    hold: Id
    reason: Slug
    node: NodeText | UnsetType = UNSET
    rule: HoldRule | UnsetType = UNSET
    stops: Annotated[tuple[Stop, ...], Meta(min_length=1, max_length=4)] = ("release", "shipment")
    recall: bool = False


class HoldLifted(Record, frozen=True, kw_only=True, tag="hold-lifted"):
    """A hold ends, with a reason."""

    hold: Id
    reason: Slug


class Concession(Record, frozen=True, kw_only=True, tag="concession"):
    """Product with named breaches may go on as it is: their holds are lifted. It changes no verdict on any limit."""

    node: NodeText
    holds: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=50)]
    reason: Slug


def breach_hold(fact: Fact, number: int) -> str:
    """The id of the hold that a breach opens: ``B``, where the fact's body stands, and the number of the breach."""
    return f"B{fact.body or fact.address}.{number}"


_BREACH_HOLD = re.compile(r"B[0-9]+\.[0-9]+(\.[0-9]+){1,2}", re.ASCII)


def is_breach_hold(hold: str) -> bool:
    """Whether an id is one that a breach gives its hold; nobody places one of that form."""
    return _BREACH_HOLD.fullmatch(hold) is not None


def enter_breach_holds(fact: Fact, state: State) -> None:
    """Open the holds of a fact's breaches."""
    for number, breach in enumerate(fact.breaches):
        if breach.holds:
            row = Hold(
                hold=breach_hold(fact, number),
                node=breach.node,
                rule=None,
                stops="release,shipment",
                reason=breach.code,
                recall=False,
                open=True,
                opened_ms=fact.recorded_ms,
                lifted_by="",
                opened=fact.body.rpartition(".")[0] or fact.address,
                lifted=None,
            )
            state.put(row)


def _node_need(node: str) -> Need:
    row, column, name = _place(node)
    return Need(row, column, name)


def _place(node: str) -> tuple[type[Row], str, str]:
    sort, _, name = node.partition(":")
    return (Lot, "lot", name) if sort == "lot" else (Unit, "unit", name)


def _placed_needs(record: HoldPlaced, _state: State) -> Iterator[Need]:
    yield Need(Hold, "hold", record.hold)
    if record.node is not UNSET:
        yield _node_need(record.node)


def _placed_check(record: HoldPlaced, state: State, _setting: Setting) -> list[Breach]:
    if state.one(Hold, record.hold) is not None or is_breach_hold(record.hold):
        raise Contradiction(
            f"hold {record.hold} cannot be used",
            where="hold",
            mend="use a new hold id, and none of B and three numbers, which is that of a breach",
        )
    if (record.node is UNSET) == (record.rule is UNSET):
        raise MalformedRecord(
            "a hold names a node or a rule", expected="node or rule, not both", where="node", mend="send one of the two"
        )
    if record.node is not UNSET:
        row, _, name = _place(record.node)
        if state.one(row, name) is None:
            raise UnknownSubject(f"{record.node} is not in the book", where="node", mend="correct the id")
    return []


def _placed_effects(fact: Fact, state: State) -> None:
    record: HoldPlaced = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Hold(
            hold=record.hold,
            node=ANY if record.node is UNSET else record.node,
            rule=None if record.rule is UNSET else encode(msgspec.to_builtins(record.rule)).decode(),
            stops=",".join(sorted(record.stops)),
            reason=record.reason,
            recall=record.recall,
            open=True,
            opened_ms=fact.at_ms,
            lifted_by="",
            opened=fact.address,
            lifted=None,
        )
    )


def _open_hold(state: State, hold: str, *, where: str) -> Hold:
    row = state.one(Hold, hold)
    if row is None:
        raise UnknownSubject(f"hold {hold} is not in the book", where=where, mend="correct the hold id")
    if not row.open:
        raise Contradiction(f"hold {hold} is lifted already", where=where, mend="nothing is left to do")
    return row


def _lifted_check(record: HoldLifted, state: State, setting: Setting) -> list[Breach]:
    hold = _open_hold(state, record.hold, where="hold")
    if hold.recall and setting.author in hold.lifted_by.split(","):
        raise RuleStands(
            f"recall hold {record.hold} takes two people to lift",
            expected="another person",
            got="the one who lifted it first",
            where="hold",
            mend="let a second person with the quality role lift it",
        )
    return []


def _lifted_effects(fact: Fact, state: State) -> None:
    record: HoldLifted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    _lift(state, record.hold, fact)


def _lift(state: State, hold: str, fact: Fact) -> None:
    row = state.held(Hold, hold)
    if row is None:
        return
    people = [person for person in row.lifted_by.split(",") if person]
    people.append(fact.author)
    still_open = row.recall and len(set(people)) < 2
    lifted = None if still_open else row.lifted or fact.address
    state.put(msgspec.structs.replace(row, lifted_by=",".join(people), open=still_open, lifted=lifted))


def _concession_needs(record: Concession, _state: State) -> Iterator[Need]:
    yield _node_need(record.node)
    for hold in record.holds:
        yield Need(Hold, "hold", hold)


def _concession_check(record: Concession, state: State, _setting: Setting) -> list[Breach]:
    row, _, name = _place(record.node)
    if state.one(row, name) is None:
        raise UnknownSubject(f"{record.node} is not in the book", where="node", mend="correct the id")
    for place, hold in enumerate(record.holds):
        standing = _open_hold(state, hold, where=f"holds[{place}]")
        if standing.recall:
            raise RuleStands(
                f"hold {hold} is a recall",
                where=f"holds[{place}]",
                mend="a recall is lifted by two people, not conceded",
            )
        if standing.node != record.node:
            raise Contradiction(
                f"hold {hold} is on another node",
                expected=record.node,
                got=standing.node,
                where=f"holds[{place}]",
                mend="concede each node by itself",
            )
    return []


def _concession_effects(fact: Fact, state: State) -> None:
    record: Concession = fact.record  # type: ignore[assignment]  # the kind table pairs them
    holds = ",".join(record.holds)
    state.put(ConcessionRow(concession=fact.address, node=record.node, holds=holds))
    for hold in record.holds:
        _lift(state, hold, fact)


def _concession_about(record: Concession) -> Iterable[str]:
    return [record.node, *(f"hold:{hold}" for hold in record.holds)]


def _placed_about(record: HoldPlaced) -> Iterable[str]:
    return [f"hold:{record.hold}", *([] if record.node is UNSET else [record.node])]


KINDS = (
    Kind(HoldPlaced, "decision", _placed_needs, _placed_check, _placed_effects, _placed_about),
    Kind(
        HoldLifted,
        "decision",
        lambda record, _state: [Need(Hold, "hold", record.hold)],
        _lifted_check,
        _lifted_effects,
        lambda record: [f"hold:{record.hold}"],
    ),
    Kind(Concession, "decision", _concession_needs, _concession_check, _concession_effects, _concession_about),
)
