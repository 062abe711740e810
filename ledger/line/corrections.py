"""Corrections: one or many facts replaced or withdrawn at once, and re-checks of what descends from them.

Nothing is edited: the correction is a later entry.  The corrected fact keeps its address and its place in the order of
facts; its effects are taken back and those of the replacement put in their place by folding every node that either
touches anew (`refold`).  What the replacement breaks, and the conflicts it brings, are breaches of the correction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, Refused, UnknownSubject
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.kinds import PLAIN_KIND_OF, PlainRecord
from ledger.line.lots import left_of
from ledger.line.record import Address, Part, Record, Slug
from ledger.line.refold import fold_nodes, nodes_of, refold, refold_needs, restate
from ledger.line.rows import About, Body, BreachRow, FactRow, Lot, SerialRow
from ledger.line.state import Need, State


class Change(Part, frozen=True, kw_only=True):
    """One fact corrected: replaced by the record given, or withdrawn where none is."""

    fact: Address
    replacement: PlainRecord | UnsetType = UNSET


class Correction(Record, frozen=True, kw_only=True, tag="correction"):
    """Facts said wrongly are put right, together or not at all."""

    changes: Annotated[tuple[Change, ...], Meta(min_length=1, max_length=2000)]
    reason: Slug


class Recheck(Record, frozen=True, kw_only=True, tag="recheck"):
    """Facts below a correction looked at again; the entry's breaches say what is wrong with them now."""

    because: Address
    facts: Annotated[tuple[Address, ...], Meta(min_length=1, max_length=2000)]


def _needs(record: Correction, state: State) -> Iterator[Need]:
    for change in record.changes:
        yield Need(FactRow, "address", change.fact)
        body = Need(Body, "address", change.fact)
        yield body
        yield Need(About, "address", change.fact)
        yield Need(BreachRow, "address", change.fact)
        if change.replacement is not UNSET:
            yield from PLAIN_KIND_OF[type(change.replacement)].needs(change.replacement, state)
        if state.has(body):
            for row in state.where(Body, "address", change.fact):
                yield from PLAIN_KIND_OF[type(row.fact.record)].needs(row.fact.record, state)
    yield from refold_needs(_touched(record, state), state)


def _touched(record: Correction, state: State) -> set[str]:
    nodes: set[str] = set()
    for change in record.changes:
        if change.replacement is not UNSET:
            nodes.update(PLAIN_KIND_OF[type(change.replacement)].about(change.replacement))
        if state.has(Need(Body, "address", change.fact)):
            for row in state.where(Body, "address", change.fact):
                nodes.update(nodes_of(row.fact))
    return fold_nodes(nodes, state)


def _standing(change: Change, place: int, state: State) -> Fact:
    row = state.one(FactRow, change.fact)
    if row is None:
        raise UnknownSubject(
            f"fact {change.fact} is not in the book", where=f"changes[{place}].fact", mend="correct the address"
        )
    if not row.standing:
        raise Contradiction(
            f"fact {change.fact} is withdrawn already", where=f"changes[{place}].fact", mend="enter it as a new record"
        )
    bodies = state.where(Body, "address", change.fact)
    if not bodies:
        raise Contradiction(
            f"fact {change.fact} is of a kind that is not corrected",
            expected="a fact of the line",
            got=row.kind,
            where=f"changes[{place}].fact",
            mend="correct the fact that it spoke about",
        )
    fact: Fact = bodies[0].fact
    return fact


def _check(record: Correction, state: State, setting: Setting) -> list[Breach]:
    if len({change.fact for change in record.changes}) != len(record.changes):
        raise Contradiction("a fact is corrected twice at once", where="changes", mend="name each fact once")
    facts = [_standing(change, place, state) for place, change in enumerate(record.changes)]
    before = _shortages(record, state)
    mark = state.mark()
    try:
        refold(_touched(record, state), {fact.address: None for fact in facts}, state)
        breaches = _check_replacements(record, facts, state, setting)
        return breaches + _conflicts(record, before, state)
    finally:
        state.undo_to(mark)


def _check_replacements(record: Correction, facts: list[Fact], state: State, setting: Setting) -> list[Breach]:
    breaches: list[Breach] = []
    for place, (change, fact) in enumerate(zip(record.changes, facts, strict=True)):
        if change.replacement is UNSET:
            continue
        kind = PLAIN_KIND_OF[type(change.replacement)]
        at_first = msgspec.structs.replace(setting, index=fact.index, position=fact.position)
        try:
            found = kind.check(change.replacement, state, at_first)
        except Refused as error:
            error.where = f"changes[{place}].replacement.{error.where}"
            raise
        breaches += [msgspec.structs.replace(breach, change=place) for breach in found]
        kind.effects(msgspec.structs.replace(fact, record=change.replacement, breaches=tuple(found)), state)
    return breaches


def _shortages(record: Correction, state: State) -> dict[str, int]:
    lots = [node.partition(":")[2] for node in _touched(record, state) if node.startswith("lot:")]
    rows = [row for lot in lots if (row := state.held(Lot, lot)) is not None]
    return {row.lot: min(left_of(row), 0) for row in rows}


def _conflicts(record: Correction, before: dict[str, int], state: State) -> list[Breach]:
    breaches: list[Breach] = []
    for lot, short in _shortages(record, state).items():
        if short < before.get(lot, 0):
            said = f"after the correction {-short} more were drawn from {lot} than it had"
            breaches.append(Breach(code="over-drawn", node=f"lot:{lot}", said=said, mend="recount the lot"))
    for node in sorted(_touched(record, state)):
        for row in state.where(SerialRow, "unit", node.partition(":")[2]) if node.startswith("unit:") else []:
            twins = [twin for twin in state.where(SerialRow, "serial", row.serial) if twin.own_scheme]
            if row.own_scheme and len(twins) > 1:
                said = f"serial {row.serial} stands on {len(twins)} balls after the correction"
                breaches.append(Breach(code="serial-twice", node=node, said=said, mend="engrave another number"))
    return breaches


def _effects(fact: Fact, state: State) -> None:
    record: Correction = fact.record  # type: ignore[assignment]  # the kind table pairs them
    touched = _touched(record, state)
    bodies: dict[str, Fact | None] = {}
    for place, change in enumerate(record.changes):
        old = state.where(Body, "address", change.fact)[0].fact
        bodies[change.fact] = corrected(old, change, place, fact)
    fresh = {node for body in bodies.values() if body is not None for node in nodes_of(body)}
    refold(touched | fresh, bodies, state)
    for place, change in enumerate(record.changes):
        restate(change.fact, bodies[change.fact], state, body_address(fact, place))


def body_address(correction: Fact, place: int) -> str:
    """Where the body of a corrected fact stands: the correction's address and the place of the change."""
    return f"{correction.address}.{place}"


def corrected(old: Fact, change: Change, place: int, correction: Fact) -> Fact | None:
    """The fact as the correction states it, or None where it is withdrawn."""
    if change.replacement is UNSET:
        return None
    own = tuple(breach for breach in correction.breaches if breach.change == place)
    return msgspec.structs.replace(old, record=change.replacement, breaches=own, body=body_address(correction, place))


def _about(record: Correction) -> Iterable[str]:
    return dict.fromkeys(f"fact:{change.fact}" for change in record.changes)


def _recheck_needs(record: Recheck, state: State) -> Iterator[Need]:
    yield Need(FactRow, "address", record.because)
    for address in record.facts:
        body = Need(Body, "address", address)
        yield body
        if state.has(body):
            for row in state.where(Body, "address", address):
                yield from PLAIN_KIND_OF[type(row.fact.record)].needs(row.fact.record, state)


def _recheck_check(record: Recheck, state: State, _setting: Setting) -> list[Breach]:
    if state.one(FactRow, record.because) is None:
        raise UnknownSubject(f"fact {record.because} is not in the book", where="because", mend="correct the address")
    breaches: list[Breach] = []
    for address in record.facts:
        for row in state.where(Body, "address", address):
            recheck = PLAIN_KIND_OF[type(row.fact.record)].recheck
            known = {(breach.code, breach.node) for breach in row.fact.breaches}
            found = [] if recheck is None else recheck(row.fact, state)
            breaches += [breach for breach in found if (breach.code, breach.node) not in known]
    return breaches


def _no_effects(_fact: Fact, _state: State) -> None:
    return None


CORRECTION = Kind(Correction, "report", _needs, _check, _effects, _about)
RECHECK = Kind(
    Recheck,
    "report",
    _recheck_needs,
    _recheck_check,
    _no_effects,
    lambda record: [f"fact:{record.because}", *(f"fact:{address}" for address in record.facts)],
)
