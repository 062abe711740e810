"""Containment: a case is opened on a suspect, an action ordered with its holds, letters noted, the case closed.

A case says once what is suspected; the balls below it are asked of the book each time, so that what is made of a suspect
lot later belongs to it as well.  The holds of a case are ordinary holds: ``case-ordered`` names those placed beside it.
A closing is checked in two parts: the line refuses it while a hold of the case stands; that the balls are accounted for
is looked up before (`ledger.application.said_cases`).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.errors import Contradiction, RuleStands, UnknownSubject
from ledger.line.case_rows import Case, CaseHold, CaseNotice, Consignee
from ledger.line.consignees import known_consignee
from ledger.line.fact import Breach, Fact
from ledger.line.gauges import known_gauge
from ledger.line.holds import is_breach_hold
from ledger.line.kind import Kind, Setting
from ledger.line.lots import known_lot
from ledger.line.making_rows import Made
from ledger.line.reading_rows import Gauge
from ledger.line.record import Digest, Id, Pieces, Record, Slug
from ledger.line.rows import Hold, Lot
from ledger.line.state import Need, State
from ledger.line.suspects import STAGE_OF, Suspect, check_suspect

CaseId = Annotated[str, Meta(pattern=r"^[A-Z0-9][A-Z0-9._-]{0,31}\Z", description="upper-case id, 1 to 32 characters")]
"""Shorter than another id: the holds of a case are named after it."""

Action = Literal["stop-sale", "recall"]
"""``stop-sale``: nothing more is sold until it is known what is wrong. ``recall``: what was sold comes back too."""


class CaseOpened(Record, frozen=True, kw_only=True, tag="case-opened"):
    """Something is suspected. It holds nothing by itself."""

    case: CaseId
    why: Literal["signal", "found", "supplier", "other"]
    reason: Slug
    suspect: Suspect


class CaseOrdered(Record, frozen=True, kw_only=True, tag="case-ordered"):
    """An action is ordered; ``holds`` were placed for it, in the same submission or before."""

    case: CaseId
    action: Action
    holds: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=499)]


class CaseNoticed(Record, frozen=True, kw_only=True, tag="case-noticed"):
    """A letter was made for a consignee: the digest of the file, and how many balls it names."""

    case: CaseId
    consignee: Id
    action: Action
    letter: Digest
    balls: Pieces


class CaseClosed(Record, frozen=True, kw_only=True, tag="case-closed"):
    """A case ends. ``closed_with_unaccounted``: how many balls nobody has answered for, where it is more than none."""

    case: CaseId
    decision: Literal["contained", "unfounded", "other"]
    reason: Slug
    closed_with_unaccounted: Pieces | UnsetType = UNSET


def known_case(state: State, case: str) -> Case:
    """The case of this id, open. Raises UnknownSubject, Contradiction."""
    row = state.one(Case, case)
    if row is None:
        raise UnknownSubject(f"case {case} is not in the book", where="case", mend="open it first, or correct the id")
    if not row.open:
        raise Contradiction(f"case {case} is closed", where="case", mend="open a new case on the same suspect")
    return row


def _opened_needs(record: CaseOpened, _state: State) -> Iterator[Need]:
    yield Need(Case, "case", record.case)
    suspect = record.suspect
    if suspect.name is UNSET:
        return
    if suspect.sort in STAGE_OF:
        yield Need(Lot, "lot", suspect.name)
    elif suspect.sort == "gauge":
        yield Need(Gauge, "gauge", suspect.name)
    elif suspect.sort == "mould":
        yield Need(Made, "mould_set", suspect.name)


def _opened_check(record: CaseOpened, state: State, _setting: Setting) -> list[Breach]:
    if state.one(Case, record.case) is not None:
        raise Contradiction(f"case {record.case} is in the book already", where="case", mend="use a new case id")
    if is_breach_hold(f"{record.case}.1"):
        raise Contradiction(
            f"case {record.case} cannot be used: its holds would bear the ids of a breach's",
            where="case",
            mend="use another case id, and none of B and an address",
        )
    suspect = record.suspect
    check_suspect(suspect)
    if suspect.name is UNSET:
        return []
    if suspect.sort in STAGE_OF:
        known_lot(state, suspect.name, where="suspect.name", stages=(STAGE_OF[suspect.sort],))
    elif suspect.sort == "gauge":
        known_gauge(state, suspect.name, where="suspect.name")
    elif suspect.sort == "mould" and not state.where(Made, "mould_set", suspect.name):
        raise UnknownSubject(
            f"nothing was poured in mould set {suspect.name}", where="suspect.name", mend="correct the mould set"
        )
    return []


def _opened_effects(fact: Fact, state: State) -> None:
    record: CaseOpened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Case(
            case=record.case,
            why=record.why,
            reason=record.reason,
            suspect=encode(msgspec.to_builtins(record.suspect)).decode(),
            action="none",
            opened_ms=fact.at_ms,
            open=True,
            address=fact.address,
        )
    )


def _ordered_needs(record: CaseOrdered, _state: State) -> Iterator[Need]:
    yield Need(Case, "case", record.case)
    for hold in record.holds:
        yield Need(Hold, "hold", hold)
        yield Need(CaseHold, "hold", hold)


def _ordered_check(record: CaseOrdered, state: State, _setting: Setting) -> list[Breach]:
    case = known_case(state, record.case)
    if case.action == "recall" and record.action == "stop-sale":
        raise Contradiction(
            f"case {record.case} is a recall already", where="action", mend="a recall is not taken back by a stop-sale"
        )
    for place, name in enumerate(record.holds):
        hold, where = state.one(Hold, name), f"holds[{place}]"
        if hold is None or not hold.open:
            raise UnknownSubject(
                f"hold {name} {'is not in the book' if hold is None else 'is lifted'}",
                where=where,
                mend="place the holds of a case in the same submission, before its order",
            )
        if "shipment" not in hold.stops.split(","):
            raise RuleStands(
                f"hold {name} lets balls be shipped",
                expected="a hold that stops shipment",
                got=hold.stops,
                where=where,
                mend="place it with shipment among what it stops",
            )
        for other in state.where(CaseHold, "hold", name):
            if other.case != record.case:
                raise Contradiction(
                    f"hold {name} is of case {other.case}, which lifts it",
                    where=where,
                    mend="place a hold of this case's own",
                )
        if record.action == "recall" and not hold.recall:
            raise RuleStands(
                f"hold {name} can be lifted by one person",
                expected="a recall hold",
                where=where,
                mend="place it with recall true: a recall takes two people to lift",
            )
    return []


def _ordered_effects(fact: Fact, state: State) -> None:
    record: CaseOrdered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    case = state.held(Case, record.case)
    if case is not None and case.action != "recall":
        state.put(msgspec.structs.replace(case, action=record.action))
    for hold in record.holds:
        state.put(CaseHold(case_hold=f"{record.case}@{hold}", case=record.case, hold=hold))


def _noticed_needs(record: CaseNoticed, _state: State) -> Iterator[Need]:
    yield Need(Case, "case", record.case)
    yield Need(Consignee, "consignee", record.consignee)


def _noticed_check(record: CaseNoticed, state: State, _setting: Setting) -> list[Breach]:
    case = known_case(state, record.case)
    known_consignee(state, record.consignee, where="consignee")
    if record.action != case.action:
        raise RuleStands(
            f"case {record.case} has another action",
            expected=case.action,
            got=record.action,
            where="action",
            mend="order the action first; a letter says what was ordered",
        )
    return []


def _noticed_effects(fact: Fact, state: State) -> None:
    record: CaseNoticed = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        CaseNotice(
            notice=fact.address,
            case=record.case,
            consignee=record.consignee,
            action=record.action,
            letter=record.letter,
            balls=record.balls,
            at_ms=fact.at_ms,
        )
    )


def _closed_needs(record: CaseClosed, state: State) -> Iterator[Need]:
    yield Need(Case, "case", record.case)
    placed = Need(CaseHold, "case", record.case)
    yield placed
    if state.has(placed):
        for row in state.where(CaseHold, "case", record.case):
            yield Need(Hold, "hold", row.hold)


def _closed_check(record: CaseClosed, state: State, _setting: Setting) -> list[Breach]:
    known_case(state, record.case)
    placed = state.where(CaseHold, "case", record.case)
    standing = [hold for row in placed if (hold := state.one(Hold, row.hold)) is not None and hold.open]
    more = len(standing) - 1
    if standing:
        raise RuleStands(
            f"hold {standing[0].hold} of case {record.case} stands" + (f", and {more} more" if more else ""),
            expected="no open hold of the case",
            where="case",
            mend="lift the holds of the case first; a recall takes two people",
        )
    return []


def _closed_effects(fact: Fact, state: State) -> None:
    record: CaseClosed = fact.record  # type: ignore[assignment]  # the kind table pairs them
    left = None if record.closed_with_unaccounted is UNSET else record.closed_with_unaccounted
    state.alter(Case, record.case, open=False, decision=record.decision, unaccounted=left)


def _about(record: CaseOpened | CaseNoticed | CaseClosed) -> list[str]:
    return [f"case:{record.case}"]


KINDS = (
    Kind(CaseOpened, "decision", _opened_needs, _opened_check, _opened_effects, _about),
    Kind(
        CaseOrdered,
        "decision",
        _ordered_needs,
        _ordered_check,
        _ordered_effects,
        lambda record: [f"case:{record.case}", *(f"hold:{hold}" for hold in record.holds)],
    ),
    Kind(CaseNoticed, "report", _noticed_needs, _noticed_check, _noticed_effects, _about),
    Kind(CaseClosed, "decision", _closed_needs, _closed_check, _closed_effects, _about),
)
