"""What consignees answer about the balls of a case, one by one. What nobody answered for stays unaccounted.

An answer is a report: one about a ball that was not sent there, or that the suspect does not touch, is entered with a
breach that holds nothing. A later answer of the same consignee about the same ball takes the place of the earlier one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, MalformedRecord
from ledger.line.case_members import member_needs, touches
from ledger.line.case_rows import Case, CaseAnswer, Consignee
from ledger.line.cases import CaseId, known_case
from ledger.line.consignees import known_consignee
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Id, Part, Record
from ledger.line.rows import SerialRow, Shipped, Unit
from ledger.line.state import Need, State
from ledger.line.suspects import SerialPart, Suspect

Said = Literal["in-stock", "sold", "moved", "destroyed", "returned", "not-received"]


class BallAnswer(Part, frozen=True, kw_only=True):
    """Of one ball, by its unit or by its serial: what became of it; ``to``: the consignee it was moved to, if known."""

    said: Said
    unit: Id | UnsetType = UNSET
    serial: SerialPart | UnsetType = UNSET
    to: Id | UnsetType = UNSET


class CaseAnswered(Record, frozen=True, kw_only=True, tag="case-answered"):
    """A consignee answered."""

    case: CaseId
    consignee: Id
    answers: Annotated[tuple[BallAnswer, ...], Meta(min_length=1, max_length=500)]


def suspect_of(case: Case) -> Suspect:
    """What a case suspects."""
    return msgspec.json.decode(case.suspect, type=Suspect)


def answer_key(case: str, consignee: str, answer: BallAnswer) -> str:
    """The key of the row of an answer: the ball by its unit where it was named, else by its serial."""
    ball = f"unit:{answer.unit}" if answer.unit is not UNSET else f"serial:{answer.serial}"
    return f"{case}@{consignee}@{ball}"


def _needs(record: CaseAnswered, state: State) -> Iterator[Need]:
    opened = Need(Case, "case", record.case)
    yield opened
    yield Need(Consignee, "consignee", record.consignee)
    case = state.one(Case, record.case) if state.has(opened) else None
    for answer in record.answers:
        if answer.to is not UNSET:
            yield Need(Consignee, "consignee", answer.to)
        if answer.serial is not UNSET:
            yield Need(SerialRow, "serial", answer.serial)
        for unit in _units(answer, state):
            yield Need(Unit, "unit", unit)
            yield Need(Shipped, "unit", unit)
            yield Need(CaseAnswer, "unit", unit)
            if case is not None:
                yield from member_needs(suspect_of(case), unit, state)


def _units(answer: BallAnswer, state: State) -> list[str]:
    if answer.unit is not UNSET:
        return [answer.unit]
    need = Need(SerialRow, "serial", str(answer.serial))
    return (
        list(dict.fromkeys(row.unit for row in state.where(SerialRow, "serial", need.value))) if state.has(need) else []
    )


def _check(record: CaseAnswered, state: State, _setting: Setting) -> list[Breach]:
    case = known_case(state, record.case)
    known_consignee(state, record.consignee, where="consignee")
    suspect, seen = suspect_of(case), set[str]()
    breaches: list[Breach] = []
    for place, answer in enumerate(record.answers):
        where = f"answers[{place}]"
        _check_form(answer, where)
        if answer.to is not UNSET:
            known_consignee(state, answer.to, where=f"{where}.to")
        key = answer_key(record.case, record.consignee, answer)
        if key in seen:
            raise Contradiction("a ball is answered for twice", where=where, mend="send one answer a ball")
        seen.add(key)
        breaches += _ball_breaches(record, answer, suspect, state)
    return breaches


def _check_form(answer: BallAnswer, where: str) -> None:
    if (answer.unit is UNSET) == (answer.serial is UNSET):
        raise MalformedRecord(
            "an answer names a ball in one way",
            expected="unit or serial",
            where=where,
            mend="send the unit, or the serial where the unit is not known",
        )
    if answer.to is not UNSET and answer.said != "moved":
        raise MalformedRecord(
            "only a ball that was moved went to another",
            expected="said moved",
            got=answer.said,
            where=f"{where}.to",
            mend="leave `to` out, or say moved",
        )


def _ball_breaches(record: CaseAnswered, answer: BallAnswer, suspect: Suspect, state: State) -> list[Breach]:
    node, ball = f"case:{record.case}", answer.unit if answer.unit is not UNSET else answer.serial
    units = [unit for unit in _units(answer, state) if state.one(Unit, unit) is not None]
    if not units:
        said = f"{record.consignee} answered for {ball}, which no ball of this book bears"
        return [Breach(code="answer-unknown-ball", node=node, said=said, holds=False, mend="ask for a photo of it")]
    breaches = []
    if not any(_was_sent(record, unit, state) for unit in units):
        said = f"{record.consignee} answered {answer.said} for {ball}, which was not sent there"
        breaches.append(
            Breach(code="answer-not-sent", node=node, said=said, holds=False, mend="ask how the ball came there")
        )
    if not any(touches(suspect, unit, state) for unit in units):
        said = f"{record.consignee} answered for {ball}, which is not of case {record.case}"
        breaches.append(Breach(code="answer-not-of-case", node=node, said=said, holds=False, mend="check the serial"))
    return breaches


def _was_sent(record: CaseAnswered, unit: str, state: State) -> bool:
    """Whether the ball was shipped there, or another consignee of the case moved it there."""
    shipped = any(row.consignee == record.consignee for row in state.where(Shipped, "unit", unit))
    moved = (row for row in state.where(CaseAnswer, "unit", unit) if row.case == record.case)
    return shipped or any(row.to == record.consignee for row in moved)


def _effects(fact: Fact, state: State) -> None:
    record: CaseAnswered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for answer in record.answers:
        state.put(
            CaseAnswer(
                answer=answer_key(record.case, record.consignee, answer),
                case=record.case,
                consignee=record.consignee,
                unit=None if answer.unit is UNSET else answer.unit,
                serial=None if answer.serial is UNSET else answer.serial,
                said=answer.said,
                to=None if answer.to is UNSET else answer.to,
                at_ms=fact.at_ms,
                address=fact.address,
            )
        )


def _about(record: CaseAnswered) -> list[str]:
    units = dict.fromkeys(f"unit:{answer.unit}" for answer in record.answers if answer.unit is not UNSET)
    return [f"case:{record.case}", *units]


KINDS = (Kind(CaseAnswered, "report", _needs, _check, _effects, _about),)
