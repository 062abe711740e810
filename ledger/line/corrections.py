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

from ledger.errors import Contradiction, MalformedRecord, Refused, RuleStands, UnknownSubject
from ledger.line.balls import BallEngraved, UnitStarted
from ledger.line.book_keys import BookOpened, KeyIntroduced, KeyRevoked
from ledger.line.cases import CaseOrdered
from ledger.line.claim_grounds import unfounded_claims
from ledger.line.fact import Breach, Fact
from ledger.line.holds import Concession, HoldLifted, HoldPlaced
from ledger.line.kind import Kind, Setting
from ledger.line.kinds import PLAIN_KIND_OF, PlainRecord
from ledger.line.lots import left_of
from ledger.line.models import ModelDefined
from ledger.line.record import Address, Part, Record, Slug
from ledger.line.refold import MAIN, MAKERS, Judge, breach_nodes, fold_nodes, nodes_of, refold, refold_needs, restate
from ledger.line.release_grounds import release_grounds, unfounded_releases
from ledger.line.rows import About, Body, BreachRow, Descent, FactRow, Lot, SerialRow
from ledger.line.samples import SAMPLE_TAKEN_BACK, SampleVerdict
from ledger.line.state import Need, State
from ledger.line.type_tests_taken_back import accepted_tests, taken_back_needs, tests_taken_back
from ledger.line.uses import refuse_used, takes_away, use_needs


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
                if takes_away(row.fact.record, _said_instead(change)):
                    yield from use_needs(row.fact.record, state)
    touched = _touched(record, state)
    yield from refold_needs(touched, state)
    yield from taken_back_needs(touched, state)


def _said_instead(change: Change) -> Record | None:
    return None if change.replacement is UNSET else change.replacement


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
            mend="correct the fact that it spoke about; a limit of the plant is set anew",
        )
    fact: Fact = bodies[0].fact
    if isinstance(fact.record, BookOpened | KeyIntroduced | KeyRevoked):
        raise RuleStands(
            "what signed trees already rest on is not corrected",
            expected="a fact of the line",
            got=row.kind,
            where=f"changes[{place}].fact",
            mend="revoke the key (key-revoked), and introduce another",
        )
    return fact


def _check(record: Correction, state: State, setting: Setting) -> list[Breach]:
    if len({change.fact for change in record.changes}) != len(record.changes):
        raise Contradiction("a fact is corrected twice at once", where="changes", mend="name each fact once")
    bodies: dict[str, Fact | None] = {}
    taken: dict[int, Fact] = {}
    moved: set[str] = set()
    old: dict[str, Record] = {}
    for place, change in enumerate(record.changes):
        fact = _standing(change, place, state)
        old[change.fact] = fact.record
        _check_whose(change, place, fact, setting)
        bodies[change.fact] = corrected(fact, change, place, setting.address)
        if takes_away(fact.record, _said_instead(change)):
            taken[place] = fact
        if _decides_anew(fact.record, change):
            moved.add(change.fact)
    touched = _touched(record, state)
    before, grounds = _shortages(touched, state), release_grounds(touched, state)
    tests = accepted_tests(touched, state)
    places = {change.fact: place for place, change in enumerate(record.changes)}
    mark = state.mark()
    try:
        judge: Judge = lambda fact, then: _judged(fact, places[fact.address], then, setting)  # noqa: E731  # asked once
        facts = refold(touched, bodies, state, judge, moved)
        _refuse_orphans(touched, facts, state)
        for place, fact in taken.items():
            refuse_used(fact, bodies, state, where=f"changes[{place}]")
        _refuse_twice_made(facts, places)
        _refuse_circles(facts, places, state)
        breaches = [
            breach for change in record.changes if change.fact in facts for breach in facts[change.fact].breaches
        ]
        breaches += _conflicts(touched, before, state) + unfounded_releases(grounds, state, set(bodies))
        breaches += tests_taken_back(tests, state) + unfounded_claims(touched, state)
        return breaches + _withdrawn_samples(bodies, old)
    finally:
        state.undo_to(mark)


def _decides_anew(old: Record, change: Change) -> bool:
    """Whether a decision comes to be about something else: for that it was never taken, so what is held now stops it."""
    if change.replacement is UNSET or PLAIN_KIND_OF[type(change.replacement)].sort != "decision":
        return False
    before = PLAIN_KIND_OF[type(old)].about(old)
    return not set(PLAIN_KIND_OF[type(change.replacement)].about(change.replacement)) <= set(before)


def _judged(fact: Fact, place: int, state: State, setting: Setting) -> Fact:
    """A replaced fact with what is wrong with it, at its own place among the facts about its nodes.

    It is judged as known now, but by the holds that stood at its place: one placed or lifted since was no matter then.
    Unless it is a decision that comes to be about something else: then what is held now stops it too.
    """
    at_first = msgspec.structs.replace(setting, index=fact.index, position=fact.position, author=fact.author)
    try:
        found = PLAIN_KIND_OF[type(fact.record)].check(fact.record, state, at_first)
    except (Refused, MalformedRecord) as error:
        raise error_within(error, f"changes[{place}].replacement") from error
    breaches = tuple(msgspec.structs.replace(breach, change=place) for breach in found)
    return msgspec.structs.replace(fact, breaches=breaches)


def error_within(error: Refused | MalformedRecord, field: str) -> Refused | MalformedRecord:
    """The same error with what holds the field that it names in front of it."""
    where = f"{field}.{error.where}" if error.where else field
    return type(error)(error.problem, expected=error.expected, got=error.got, where=where, mend=error.mend)


def _check_whose(change: Change, place: int, fact: Fact, setting: Setting) -> None:
    """Nobody lifts in another's name, and a recall does not go by a correction: it takes two people to lift."""
    where = f"changes[{place}]"
    if isinstance(fact.record, HoldPlaced) and fact.record.recall:
        raise RuleStands(
            f"recall hold {fact.record.hold} takes two people to lift",
            got="a correction of the fact that placed it",
            where=where,
            mend="let two people lift it, and place another hold",
        )
    if isinstance(fact.record, CaseOrdered):
        raise RuleStands(
            f"what case {fact.record.case} ordered is ended by lifting its holds; those of a recall take two people",
            got="a correction of the fact that ordered it",
            where=where,
            mend="lift the holds of the case, then close the case, and say why",
        )
    if isinstance(change.replacement, HoldLifted | Concession) and fact.author != setting.author:
        raise RuleStands(
            "only its author puts another decision to lift in the place of his own",
            expected="the author of the fact",
            got="another",
            where=where,
            mend="withdraw it, and decide anew in your own name",
        )


def _refuse_orphans(touched: set[str], facts: dict[str, Fact], state: State) -> None:
    """Refuse to leave facts about a lot, ball, model, gauge or claim that no fact makes any more."""
    gone = {node for node in touched if (main := MAIN.get(node.partition(":")[0])) is not None
            and state.held(main, node.partition(":")[2]) is None}  # fmt: skip
    for fact in sorted(facts.values(), key=lambda fact: (fact.index, fact.position)) if gone else []:
        left = sorted(gone & nodes_of(fact))
        if left:
            raise Contradiction(
                f"{left[0]} would be gone, and fact {fact.address} speaks of it",
                where="changes",
                mend=f"withdraw or replace fact {fact.address} in the same correction",
            )


def _refuse_twice_made(facts: dict[str, Fact], places: dict[str, int]) -> None:
    """Refuse a replacement after which two facts make one lot, ball or gauge; a later one may stand in the way too."""
    makers: dict[str, Fact] = {}
    for fact in sorted(facts.values(), key=lambda fact: (fact.index, fact.position)):
        if type(fact.record) not in MAKERS or isinstance(fact.record, ModelDefined):
            continue
        node = next(iter(PLAIN_KIND_OF[type(fact.record)].about(fact.record)))
        first = makers.setdefault(node, fact)
        started = isinstance(first.record, UnitStarted) and isinstance(fact.record, BallEngraved)
        if started:
            makers[node] = fact
        elif first is not fact and {first.address, fact.address} & set(places):
            ours, other = (fact, first) if fact.address in places else (first, fact)
            raise Contradiction(
                f"{node} is made by fact {other.address} too",
                where=f"changes[{places[ours.address]}].replacement",
                mend="give it an id of its own, or correct the other fact in the same correction",
            )


def _refuse_circles(facts: dict[str, Fact], places: dict[str, int], state: State) -> None:
    """Refuse a replacement after which a lot would be made of something that is made of it."""
    for address, place in places.items():
        fact = facts.get(address)
        if fact is None or type(fact.record) not in MAKERS:
            continue
        node = next(iter(PLAIN_KIND_OF[type(fact.record)].about(fact.record)))
        sort, _, lot = node.partition(":")
        if sort == "lot" and lot in _made_of(lot, state):
            raise Contradiction(
                f"lot {lot} would be made of itself",
                where=f"changes[{place}].replacement",
                mend="name the lots that it was really made of",
            )


def _made_of(lot: str, state: State) -> set[str]:
    """The lots above a lot, as far as they are loaded: all of them, since a replacement asks for its whole lineage."""
    found, waiting = set[str](), [lot]
    while waiting:
        child = waiting.pop()
        edges = state.where(Descent, "child", child) if state.has(Need(Descent, "child", child)) else []
        parents = {edge.parent for edge in edges} - found
        found |= parents
        waiting.extend(parents)
    return found


def _shortages(touched: set[str], state: State) -> dict[str, int]:
    lots = [node.partition(":")[2] for node in touched if node.startswith("lot:")]
    rows = [row for lot in lots if (row := state.held(Lot, lot)) is not None]
    return {row.lot: min(left_of(row), 0) for row in rows}


def _withdrawn_samples(bodies: dict[str, Fact | None], old: dict[str, Record]) -> list[Breach]:
    """Lots whose accepted sample a correction takes back: balls may be released on it without a reading of their own."""
    breaches: list[Breach] = []
    for address, before in old.items():
        if not isinstance(before, SampleVerdict) or not before.accepted:
            continue
        body = bodies[address]
        after = None if body is None else body.record
        if isinstance(after, SampleVerdict) and after.accepted and _of(after) == _of(before):
            continue
        said = f"the accepted sample of {before.lot} for {before.quantity} was taken back"
        mend = "judge a sample anew, or measure the balls that were released on it; then lift the hold"
        breach = Breach(code=SAMPLE_TAKEN_BACK, node=f"lot:{before.lot}", said=said, fact=address, mend=mend)
        breaches.append(breach)
    return breaches


def _of(sample: SampleVerdict) -> tuple[str, str]:
    return sample.lot, sample.quantity


def _conflicts(touched: set[str], before: dict[str, int], state: State) -> list[Breach]:
    breaches: list[Breach] = []
    for lot, short in sorted(_shortages(touched, state).items()):
        if short < before.get(lot, 0):
            said = f"after the correction {-short} more were drawn from {lot} than it had"
            breaches.append(Breach(code="over-drawn", node=f"lot:{lot}", said=said, mend="recount the lot"))
    for node in sorted(touched):
        for row in state.where(SerialRow, "unit", node.partition(":")[2]) if node.startswith("unit:") else []:
            twins = [twin for twin in state.where(SerialRow, "serial", row.serial) if twin.own_scheme]
            if row.own_scheme and len(twins) > 1:
                said = f"serial {row.serial} stands on {len(twins)} balls after the correction"
                breaches.append(Breach(code="serial-twice", node=node, said=said, mend="engrave another number"))
    return breaches


def _effects(fact: Fact, state: State) -> None:
    record: Correction = fact.record  # type: ignore[assignment]  # the kind table pairs them
    bodies: dict[str, Fact | None] = {}
    for place, change in enumerate(record.changes):
        old = state.where(Body, "address", change.fact)[0].fact
        body = corrected(old, change, place, fact.address)
        own = tuple(breach for breach in fact.breaches if breach.change == place)
        bodies[change.fact] = None if body is None else msgspec.structs.replace(body, breaches=own)
    fresh = {node for body in bodies.values() if body is not None for node in breach_nodes(body)}
    refold(_touched(record, state) | fresh, bodies, state)
    for place, change in enumerate(record.changes):
        restate(change.fact, bodies[change.fact], state, f"{fact.address}.{place}")


def corrected(old: Fact, change: Change, place: int, correction: str) -> Fact | None:
    """The fact as the correction at that address states it, not judged yet; None where it is withdrawn.

    Its body stands at the correction's address and the place of the change.
    """
    if change.replacement is UNSET:
        return None
    return msgspec.structs.replace(old, record=change.replacement, breaches=(), body=f"{correction}.{place}")


def _about(record: Correction) -> Iterable[str]:
    return dict.fromkeys(f"fact:{change.fact}" for change in record.changes)


def _recheck_needs(record: Recheck, state: State) -> Iterator[Need]:
    yield Need(FactRow, "address", record.because)
    for address in record.facts:
        yield Need(FactRow, "address", address)
        body = Need(Body, "address", address)
        yield body
        for row in state.where(Body, "address", address) if state.has(body) else []:
            kind = PLAIN_KIND_OF[type(row.fact.record)]
            yield from kind.needs(row.fact.record, state)
            yield from (Need(BreachRow, "node", node) for node in kind.about(row.fact.record))


def _recheck_check(record: Recheck, state: State, _setting: Setting) -> list[Breach]:
    for address, where in (
        (record.because, "because"),
        *((fact, f"facts[{n}]") for n, fact in enumerate(record.facts)),
    ):
        if state.one(FactRow, address) is None:
            raise UnknownSubject(f"fact {address} is not in the book", where=where, mend="correct the address")
    breaches: list[Breach] = []
    for address in record.facts:
        for row in state.where(Body, "address", address):
            kind = PLAIN_KIND_OF[type(row.fact.record)]
            nodes = kind.about(row.fact.record)
            known = {(old.code, old.node, old.said) for node in nodes for old in state.where(BreachRow, "node", node)}
            found = [] if kind.recheck is None else kind.recheck(row.fact, state)
            breaches += [breach for breach in found if (breach.code, breach.node, breach.said) not in known]
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
