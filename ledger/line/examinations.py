"""Examinations: an outside auditor may look at a named part of the book, for a time, and each look is entered.

A grant names an account, a part (models, lots, balls, days of making) and a span of at most 92 days (the project's own
bound; common practice, no source). ``examined`` is said for the auditor by the service before it answers: it is a
decision, so where the grant has ended, has not begun, or is another account's, it is refused, and nothing is shown.
That what was looked at lies in the part is checked before (`ledger.application.examining`); the line sees no answers.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.erasures import AccountId
from ledger.line.examination_rows import Examination
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.models import known_model, model_needs
from ledger.line.record import At, Digest, Id, Name, Record, Slug
from ledger.line.rows import Lot, Unit
from ledger.line.state import Need, State

LONGEST_MS = 92 * 86_400_000

Sealing = Literal["withheld", "erasable"]


class ExaminationGranted(Record, frozen=True, kw_only=True, tag="examination-granted"):
    """An account may look at the balls that meet every condition given here, and at what they rest on; nothing else.

    At the lots that are named themselves too, where neither balls nor days narrow them to some of their balls.
    ``made_from`` and ``made_to`` bound the instant of engraving. ``withhold``: sealings that stay closed to it.
    """

    examination: Id
    account: AccountId
    from_at: At
    to_at: At
    models: Annotated[tuple[Id, ...], Meta(max_length=20)] = ()
    lots: Annotated[tuple[Id, ...], Meta(max_length=100)] = ()
    units: Annotated[tuple[Id, ...], Meta(max_length=500)] = ()
    made_from: At | UnsetType = UNSET
    made_to: At | UnsetType = UNSET
    withhold: Annotated[tuple[Sealing, ...], Meta(max_length=2)] = ("withheld", "erasable")


class ExaminationEnded(Record, frozen=True, kw_only=True, tag="examination-ended"):
    """A grant ends before its time."""

    examination: Id
    reason: Slug


class Examined(Record, frozen=True, kw_only=True, tag="examined"):
    """Something was looked at or taken along: the question, what it named, and the SHA-256 of the answer."""

    examination: Id
    question: Slug
    named: Annotated[tuple[Name, ...], Meta(max_length=20)] = ()
    balls: Annotated[int, Meta(ge=0, le=10_000_000)]
    answer: Digest | UnsetType = UNSET


def known_examination(state: State, examination: str) -> Examination:
    """The examination of this id. Raises UnknownSubject."""
    row = state.one(Examination, examination)
    if row is None:
        raise UnknownSubject(
            f"examination {examination} is not in the book",
            where="examination",
            mend="grant it first, or correct the id",
        )
    return row


def check_open(row: Examination, account: str, now_ms: int) -> None:
    """The account may look now. Raises RuleStands, saying from when or until when it could."""
    if row.account != account:
        raise RuleStands(
            f"examination {row.examination} is another account's", where="examination", mend="sign in as its auditor"
        )
    if row.ended_ms is not None:
        raise RuleStands(
            f"examination {row.examination} was ended", where="examination", mend="ask the plant for a new one"
        )
    if not row.from_ms <= now_ms <= row.to_ms:
        raise RuleStands(
            f"examination {row.examination} is not open now",
            expected=f"{row.from_ms} to {row.to_ms} (ms)",
            got=now_ms,
            where="examination",
            mend="come in its time, or ask the plant for a new one",
        )


def _granted_needs(record: ExaminationGranted, _state: State) -> Iterator[Need]:
    yield Need(Examination, "examination", record.examination)
    for model in record.models:
        yield from model_needs(model)
    for lot in record.lots:
        yield Need(Lot, "lot", lot)
    for unit in record.units:
        yield Need(Unit, "unit", unit)


def _granted_check(record: ExaminationGranted, state: State, _setting: Setting) -> list[Breach]:
    if state.one(Examination, record.examination) is not None:
        raise Contradiction(
            f"examination {record.examination} is in the book already", where="examination", mend="use a new id"
        )
    if not (record.models or record.lots or record.units):
        raise MalformedRecord(
            "examination names nothing", expected="models, lots or balls", where="models, lots, units"
        )
    _check_span(record.from_at, record.to_at, "to_at")
    if instant_ms(record.to_at) - instant_ms(record.from_at) > LONGEST_MS:
        raise MalformedRecord("examination is too long", expected="at most 92 days", got=record.to_at, where="to_at")
    if record.made_from is not UNSET and record.made_to is not UNSET:
        _check_span(record.made_from, record.made_to, "made_to")
    for model in record.models:
        known_model(state, model, where="models")
    for lot in record.lots:
        row = state.one(Lot, lot)
        if row is None or row.stage != "shell":
            raise UnknownSubject(
                f"{lot} is no shell lot in the book", where="lots", mend="name lots of which balls are made"
            )
    for unit in record.units:
        if state.one(Unit, unit) is None:
            raise UnknownSubject(f"unit {unit} is not in the book", where="units", mend="correct the id")
    return []


def _check_span(first: str, last: str, where: str) -> None:
    if instant_ms(last) < instant_ms(first):
        raise MalformedRecord("ends before it begins", expected=f"at or after {first}", got=last, where=where)


def _granted_effects(fact: Fact, state: State) -> None:
    record: ExaminationGranted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Examination(
            examination=record.examination,
            account=record.account,
            models=",".join(record.models),
            lots=",".join(record.lots),
            units=",".join(record.units),
            made_from_ms=None if record.made_from is UNSET else instant_ms(record.made_from),
            made_to_ms=None if record.made_to is UNSET else instant_ms(record.made_to),
            from_ms=instant_ms(record.from_at),
            to_ms=instant_ms(record.to_at),
            withheld=",".join(record.withhold),
            address=fact.address,
        )
    )


def _own_needs(record: ExaminationEnded | Examined, _state: State) -> Iterator[Need]:
    yield Need(Examination, "examination", record.examination)


def _ended_check(record: ExaminationEnded, state: State, _setting: Setting) -> list[Breach]:
    if known_examination(state, record.examination).ended_ms is not None:
        raise Contradiction(f"examination {record.examination} was ended already", where="examination")
    return []


def _ended_effects(fact: Fact, state: State) -> None:
    record: ExaminationEnded = fact.record  # type: ignore[assignment]  # the kind table pairs them
    row = known_examination(state, record.examination)
    state.put(msgspec.structs.replace(row, ended_ms=fact.at_ms))


def _examined_check(record: Examined, state: State, setting: Setting) -> list[Breach]:
    check_open(known_examination(state, record.examination), setting.author, setting.now_ms)
    return []


def _nothing(_fact: Fact, _state: State) -> None:
    """A look changes nothing."""


def _about(record: ExaminationGranted | ExaminationEnded | Examined) -> list[str]:
    return [f"examination:{record.examination}"]


EXAMINATION_KINDS: tuple[Kind, ...] = (
    Kind(ExaminationGranted, "decision", _granted_needs, _granted_check, _granted_effects, _about),
    Kind(ExaminationEnded, "decision", _own_needs, _ended_check, _ended_effects, _about),
    Kind(Examined, "decision", _own_needs, _examined_check, _nothing, _about),
)
