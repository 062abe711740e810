"""Warranty claims: opened, examined, decided, replaced. Who claims is erasable; what failed is a short word.

Failure modes are trade terms, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from ledger.errors import Contradiction, MalformedSerial, RuleStands, UnknownSubject
from ledger.line.balls import known_unit
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.record import Address, Digest, Erasable, Id, On, Record, Slug
from ledger.line.rows import Claim, SerialRow, Unit
from ledger.line.serial import parse_serial
from ledger.line.state import Need, State

Mode = Literal[
    "crack-pin-to-hole",
    "crack-hole-to-hole",
    "crack-equator",
    "crack-over-block",
    "shell-separation",
    "void",
    "pin-loose",
    "out-of-round",
    "engraving",
    "other",
]


class ClaimOpened(Record, frozen=True, kw_only=True, tag="claim-opened"):
    """A claim about a ball, or about a number that no ball of the book answers to."""

    claim: Id
    mode: Mode
    serial: Annotated[str, Meta(min_length=1, max_length=20)] | UnsetType = UNSET
    unit: Id | UnsetType = UNSET
    bought_on: On | UnsetType = UNSET
    claimant: Erasable | UnsetType = UNSET
    evidence: Annotated[tuple[Digest, ...], Meta(max_length=50)] = ()


class ClaimExamined(Record, frozen=True, kw_only=True, tag="claim-examined"):
    """What was found on the ball."""

    claim: Id
    finding: Slug
    evidence: Annotated[tuple[Digest, ...], Meta(max_length=50)] = ()


class ClaimDecided(Record, frozen=True, kw_only=True, tag="claim-decided"):
    """A person decided, on the facts named."""

    claim: Id
    decision: Literal["accept", "reject", "goodwill"]
    reason: Slug
    rests_on: Annotated[tuple[Address, ...], Meta(max_length=50)] = ()


class ClaimReplaced(Record, frozen=True, kw_only=True, tag="claim-replaced"):
    """Another ball took the place of the claimed one."""

    claim: Id
    unit: Id


def _opened_needs(record: ClaimOpened, _state: State) -> Iterator[Need]:
    yield Need(Claim, "claim", record.claim)
    if record.serial is not UNSET:
        yield Need(SerialRow, "serial", record.serial)
        yield Need(SerialRow, "serial", _plain(record.serial))
    if record.unit is not UNSET:
        yield Need(Unit, "unit", record.unit)


def _plain(typed: str) -> str:
    """A number of the own scheme as it is engraved, however it was typed; any other number as it is."""
    try:
        return parse_serial(typed)
    except MalformedSerial:
        return typed


def _opened_check(record: ClaimOpened, state: State, _setting: Setting) -> list[Breach]:
    if state.one(Claim, record.claim) is not None:
        raise Contradiction(f"claim {record.claim} is open already", where="claim", mend="use a new claim id")
    if record.unit is not UNSET:
        known_unit(state, record.unit)
        return []
    node = f"claim:{record.claim}"
    typed = [] if record.serial is UNSET else [record.serial, _plain(record.serial)]
    bearers = {row.unit for serial in typed for row in state.where(SerialRow, "serial", serial)}
    if not bearers:
        return [Breach(code="claim-unknown-ball", node=node, said="no ball of this book bears the number", holds=False)]
    if len(bearers) > 1:
        said = f"{len(bearers)} balls bear or bore the number"
        return [Breach(code="claim-several-balls", node=node, said=said, holds=False, mend="name the unit")]
    return []


def _opened_effects(fact: Fact, state: State) -> None:
    record: ClaimOpened = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Claim(
            claim=record.claim,
            serial=None if record.serial is UNSET else _plain(record.serial),
            unit=None if record.unit is UNSET else record.unit,
            mode=record.mode,
            opened_ms=fact.at_ms,
            bought_on=None if record.bought_on is UNSET else record.bought_on,
            state="open",
            replacement=None,
        )
    )


def _known_claim(state: State, claim: str) -> Claim:
    row = state.one(Claim, claim)
    if row is None:
        raise UnknownSubject(
            f"claim {claim} is not in the book", where="claim", mend="open it first, or correct the id"
        )
    return row


def _next_check(record: ClaimExamined | ClaimDecided | ClaimReplaced, state: State, _setting: Setting) -> list[Breach]:
    claim = _known_claim(state, record.claim)
    if isinstance(record, ClaimDecided) and claim.state in {"accept", "reject", "goodwill"}:
        raise Contradiction(
            f"claim {record.claim} is decided already", where="claim", mend="correct the earlier decision"
        )
    if isinstance(record, ClaimReplaced):
        known_unit(state, record.unit)
        if claim.state not in {"accept", "goodwill"}:
            raise RuleStands(
                "a ball is replaced after the claim was accepted",
                expected="accept or goodwill",
                got=claim.state,
                where="claim",
                mend="decide the claim first",
            )
    return []


def _next_needs(record: ClaimExamined | ClaimDecided | ClaimReplaced, _state: State) -> Iterator[Need]:
    yield Need(Claim, "claim", record.claim)
    if isinstance(record, ClaimReplaced):
        yield Need(Unit, "unit", record.unit)


def _next_effects(fact: Fact, state: State) -> None:
    record: ClaimExamined | ClaimDecided | ClaimReplaced = fact.record  # type: ignore[assignment]  # by the kind table
    if isinstance(record, ClaimExamined):
        claim = state.held(Claim, record.claim)
        if claim is not None and claim.state == "open":
            state.alter(Claim, record.claim, state="examined")
    elif isinstance(record, ClaimDecided):
        state.alter(Claim, record.claim, state=record.decision)
    else:
        state.alter(Claim, record.claim, replacement=record.unit)


def _about(record: ClaimOpened | ClaimExamined | ClaimDecided | ClaimReplaced) -> Iterable[str]:
    unit = getattr(record, "unit", UNSET)
    return [f"claim:{record.claim}", *([] if unit is UNSET else [f"unit:{unit}"])]


KINDS = (
    Kind(ClaimOpened, "report", _opened_needs, _opened_check, _opened_effects, _about),
    Kind(ClaimExamined, "report", _next_needs, _next_check, _next_effects, _about),
    Kind(ClaimDecided, "decision", _next_needs, _next_check, _next_effects, _about),
    Kind(ClaimReplaced, "report", _next_needs, _next_check, _next_effects, _about),
)
