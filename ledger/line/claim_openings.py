"""Opening a claim: always taken, and flagged by what does not fit. No breach of a claim holds product.

Refused are only a claim id that is in use, a ball that is not in the book, a failure mode that nobody knows, and a date
that is not in the calendar.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from msgspec import UNSET, UnsetType

from ledger.book.instant import Instant, format_instant, parse_instant
from ledger.errors import Contradiction, MalformedRecord
from ledger.line.balls import known_unit
from ledger.line.case_rows import Consignee
from ledger.line.claim_rows import Claim, ClaimEvidence
from ledger.line.claimed_ball import (
    ball_needs,
    bearers,
    claimed_ball,
    claims_on,
    claims_on_number,
    named,
    plain_serial,
    was_issued,
)
from ledger.line.claims import STATE_WORDS, ClaimExamined, ClaimOpened, about_claim
from ledger.line.fact import Breach, Fact
from ledger.line.failure_modes import check_mode, mode_needs
from ledger.line.kind import Kind, Setting
from ledger.line.rows import Shipped, Unit
from ledger.line.state import Need, State

ENDED = frozenset({"scrapped", "destroyed", "retained"})
"""The states of a ball that ended at the maker's."""


def _needs(record: ClaimOpened, state: State) -> Iterator[Need]:
    serial, unit = named(record.serial), named(record.unit)
    yield Need(Claim, "claim", record.claim)
    yield from mode_needs(record.mode)
    if record.via is not UNSET:
        yield Need(Consignee, "consignee", record.via)
    needs = list(ball_needs(serial, unit, state))
    yield from needs
    for need in needs:
        if need.row is Unit:
            yield Need(Shipped, "unit", need.value)


def _check(record: ClaimOpened, state: State, setting: Setting) -> list[Breach]:
    if state.one(Claim, record.claim) is not None:
        raise Contradiction(f"claim {record.claim} is open already", where="claim", mend="use a new claim id")
    check_mode(record.mode, state)
    _check_dates(record)
    if record.unit is not UNSET:
        known_unit(state, record.unit)
    ball = claimed_ball(named(record.serial), named(record.unit), state)
    before = setting.index, setting.position
    if ball is None:
        breaches = _number_breaches(record, state) + _repeated_number(record, state, before)
    else:
        breaches = _ball_breaches(record, ball, state) + _repeated(record, ball, state, before)
    return breaches + _later_breaches(record) + _via_breaches(record, state)


def _check_dates(record: ClaimOpened) -> None:
    drilled_on = UNSET if record.drilled is UNSET else record.drilled.on
    dates = {"bought_on": record.bought_on, "drilled.on": drilled_on}
    dates |= {"answer_by": record.answer_by, "keep_until": record.keep_until}
    for where, on in dates.items():
        check_date(on, where)


def check_date(on: str | UnsetType, where: str) -> None:
    """Return if the date is in the calendar, or absent. Raises MalformedRecord."""
    if on is UNSET:
        return
    try:
        date.fromisoformat(on)
    except ValueError as error:
        raise MalformedRecord(
            "no such date", expected="YYYY-MM-DD of a real date", got=on, where=where, mend="correct the date"
        ) from error


def _flag(record: ClaimOpened, code: str, said: str, mend: str, fact: str | UnsetType = UNSET) -> Breach:
    return Breach(code=code, node=f"claim:{record.claim}", said=said, holds=False, mend=mend, fact=fact)


def _number_breaches(record: ClaimOpened, state: State) -> list[Breach]:
    """Why no ball is known: no number, one that several balls bear, one that nobody bears, one of another maker's shape."""
    if record.serial is UNSET:
        return [_flag(record, "claim-unknown-ball", "no number and no ball is named", "read the number on the ball")]
    units = bearers(record.serial, state)
    if units:
        said = f"{len(units)} balls bear or bore the number: {', '.join(units[:5])}{', ...' if units[5:] else ''}"
        return [_flag(record, "claim-several-balls", said, "name the unit")]
    if was_issued(record.serial, state):
        said = f"no ball of this book bears the number {plain_serial(record.serial)}"
        return [_flag(record, "claim-unknown-ball", said, "read the number again, or ask for a photo of it")]
    said = f"no ball of this book bears {record.serial}, and no scheme of the book gives a number of its shape"
    return [_flag(record, "claim-foreign-number", said, "read the number again, or ask whose ball it is")]


def _ball_breaches(record: ClaimOpened, ball: Unit, state: State) -> list[Breach]:
    breaches: list[Breach] = []
    name = ball.unit
    if ball.state in ENDED:
        said = f"{name} is {ball.state} by this book, so that it cannot be with a claimant"
        breaches.append(_flag(record, "claim-scrapped-ball", said, "ask for a photo of the number"))
    if not state.where(Shipped, "unit", name):
        said = f"{name} never left the plant by this book"
        breaches.append(_flag(record, "claim-never-shipped", said, "enter its shipment, or read the number again"))
    made = _local_day(ball.began_ms, record.at)
    if record.bought_on is not UNSET and record.bought_on < made:
        said = f"bought on {record.bought_on}, before {name} was made on {made}"
        breaches.append(_flag(record, "claim-bought-before-made", said, "ask for the proof of purchase"))
    drilled = UNSET if record.drilled is UNSET else record.drilled.on
    if drilled is not UNSET and drilled < made:
        said = f"drilled on {drilled}, before {name} was made on {made}"
        breaches.append(_flag(record, "claim-drilled-before-made", said, "ask who drilled it, and when"))
    return breaches


def _local_day(ms: int, told_at: str) -> str:
    """The date of an instant where the claim was taken: claimants tell dates by their own calendar."""
    return format_instant(Instant(ms, parse_instant(told_at).offset_minutes))[:10]


def _repeated(record: ClaimOpened, ball: Unit, state: State, before: tuple[int, int]) -> list[Breach]:
    """A claim on the same ball for the same fault, however that one stands."""
    earlier = [row for row in claims_on(ball, state, before) if row.mode == record.mode]
    return [_repeats(record, row, ball.unit) for row in earlier[-1:]]


def _repeated_number(record: ClaimOpened, state: State, before: tuple[int, int]) -> list[Breach]:
    if record.serial is UNSET:
        return []
    earlier = [row for row in claims_on_number(record.serial, state, before) if row.mode == record.mode]
    return [_repeats(record, row, f"number {plain_serial(record.serial)}") for row in earlier[-1:]]


def _repeats(record: ClaimOpened, earlier: Claim, what: str) -> Breach:
    said = f"claim {earlier.claim} on {what} for {earlier.mode} was opened before, and is {STATE_WORDS[earlier.state]}"
    mend = f"go on with claim {earlier.claim}, or say what is another fault"
    return _flag(record, "claim-repeated", said, mend, earlier.address)


def _via_breaches(record: ClaimOpened, state: State) -> list[Breach]:
    if record.via is UNSET or state.one(Consignee, record.via) is not None:
        return []
    said = f"it came through {record.via}, who is not in the register of consignees"
    return [_flag(record, "claim-unknown-consignee", said, "register the consignee, or correct the id")]


def _later_breaches(record: ClaimOpened) -> list[Breach]:
    """What is said to have happened after the day on which the claim was taken."""
    day = record.at[:10]
    drilled = UNSET if record.drilled is UNSET else record.drilled.on
    told = (("bought", record.bought_on), ("drilled", drilled))
    return [
        _flag(record, f"claim-{what}-after-claim", f"{what} on {on}, after the claim was taken on {day}", "ask again")
        for what, on in told
        if on is not UNSET and on > day
    ]


def _effects(fact: Fact, state: State) -> None:
    record: ClaimOpened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Claim(
            claim=record.claim,
            serial=None if record.serial is UNSET else plain_serial(record.serial),
            unit=named(record.unit),
            mode=record.mode,
            opened_ms=fact.at_ms,
            bought_on=named(record.bought_on),
            state="open",
            replacement=None,
            due_on=named(record.answer_by),
            keep_until=named(record.keep_until),
            via=named(record.via),
            market=named(record.market),
            imported=record.imported is not UNSET,
            proof=named(record.proof),
            drilled_on=None if record.drilled is UNSET else named(record.drilled.on),
            address=fact.address,
            offset_min=parse_instant(record.at).offset_minutes,
        )
    )
    enter_evidence(fact, record, state)


def enter_evidence(fact: Fact, record: ClaimOpened | ClaimExamined, state: State) -> None:
    """Put a row for each file that the record names."""
    for place, part in enumerate(record.evidence):
        state.put(
            ClaimEvidence(
                evidence=f"{fact.address}.{place}",
                claim=record.claim,
                digest=part.digest,
                what=part.what,
                address=fact.address,
            )
        )


KINDS = (Kind(ClaimOpened, "report", _needs, _check, _effects, about_claim),)
