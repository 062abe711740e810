"""The ball that takes the place of a claimed one: after the claim was accepted, one for a claim, and each for one claim only.

What is said of the old ball is compared with what the book has of it; where the two disagree the record stands with a
breach that holds nothing, since the old ball is out of the maker's hands as often as not.
"""

from __future__ import annotations

from collections.abc import Iterator

from ledger.book.instant import parse_instant
from ledger.errors import Contradiction, RuleStands
from ledger.line.balls import known_unit, unit_needs
from ledger.line.claim_openings import ENDED
from ledger.line.claim_rows import Claim, Replacement
from ledger.line.claimed_ball import ball_needs, claimed_ball, claims_on
from ledger.line.claims import ClaimReplaced, about_claim, known_claim
from ledger.line.fact import Breach, Fact
from ledger.line.kind import Kind, Setting
from ledger.line.lineage import refuse_under_hold, stopping_holds
from ledger.line.rows import Unit
from ledger.line.state import Need, State

_FITS = {
    "destroyed": frozenset({"shipped", "scrapped", "destroyed"}),
    "kept": frozenset({"shipped"}),
    "returned": frozenset({"returned", "engraved", "reworked", "released", "scrapped", "destroyed", "retained"}),
    "retained": frozenset({"returned", "retained"}),
}
"""What became of the old ball, and the states of it that do not contradict that: a dealer may destroy one on the spot."""

_MENDS = {
    "destroyed": "enter its end (scrap), or correct what became of it",
    "kept": "correct what became of it",
    "returned": "enter its return (returned), or correct what became of it",
    "retained": "enter its return, and that it is retained (scrap), or correct what became of it",
}


def _needs(record: ClaimReplaced, state: State) -> Iterator[Need]:
    need = Need(Claim, "claim", record.claim)
    yield need
    yield Need(Replacement, "claim", record.claim)
    yield Need(Replacement, "unit", record.unit)
    yield from unit_needs(record.unit, state)
    yield from ball_needs(None, record.unit, state)
    claim = state.one(Claim, record.claim) if state.has(need) else None
    if claim is not None:
        yield from ball_needs(claim.serial, claim.unit, state)


def _check(record: ClaimReplaced, state: State, setting: Setting) -> list[Breach]:
    claim = known_claim(state, record.claim)
    ball = known_unit(state, record.unit)
    if claim.state not in {"accept", "goodwill"}:
        raise RuleStands(
            "a ball is replaced after the claim was accepted",
            expected="accept or goodwill",
            got=claim.state,
            where="claim",
            mend="decide the claim first",
        )
    _refuse_second(record, state)
    old = claimed_ball(claim.serial, claim.unit, state)
    if old is not None and old.unit == record.unit:
        raise Contradiction(
            f"{record.unit} is the claimed ball itself", where="unit", mend="name the ball that took its place"
        )
    _check_fit(record, ball, state, (setting.index, setting.position))
    return [] if old is None else _fate_breaches(record, old)


def _refuse_second(record: ClaimReplaced, state: State) -> None:
    for row in state.where(Replacement, "claim", record.claim):
        raise Contradiction(
            f"claim {record.claim} has its replacement already, {row.unit} by fact {row.address}",
            where="claim",
            mend=f"correct fact {row.address} if another ball was sent",
        )
    for row in state.where(Replacement, "unit", record.unit):
        raise Contradiction(
            f"{record.unit} is the replacement for claim {row.claim}, by fact {row.address}",
            where="unit",
            mend="name the ball that was really sent, or correct the earlier fact",
        )


def _check_fit(record: ClaimReplaced, ball: Unit, state: State, before: tuple[int, int]) -> None:
    name = record.unit
    if ball.state in ENDED or ball.serial is None:
        raise RuleStands(
            f"{name} cannot take the place of a ball",
            expected="an engraved ball that has not ended",
            got=ball.state,
            where="unit",
            mend="name the ball that was really sent",
        )
    holds = stopping_holds(state, "shipment", lot=ball.lot, unit=ball)
    refuse_under_hold(holds, what=f"replacement by {name}", where="unit")
    for claim in claims_on(ball, state, before):
        if claim.state != "reject":
            raise RuleStands(
                f"{name} is itself claimed, by claim {claim.claim}",
                expected="a ball without a claim, or with a rejected one",
                got=claim.state,
                where="unit",
                mend=f"name another ball, or decide claim {claim.claim} first",
            )


def _fate_breaches(record: ClaimReplaced, old: Unit) -> list[Breach]:
    if old.state in _FITS[record.old_ball]:
        return []
    return [
        Breach(
            code="claim-old-ball",
            node=f"claim:{record.claim}",
            said=f"the old ball {old.unit} is said to be {record.old_ball}, and by this book is {old.state}",
            holds=False,
            mend=_MENDS[record.old_ball],
        )
    ]


def _effects(fact: Fact, state: State) -> None:
    record: ClaimReplaced = fact.record  # type: ignore[assignment]  # the kind table pairs them
    claim = state.held(Claim, record.claim)
    state.alter(Claim, record.claim, replacement=record.unit)
    state.put(
        Replacement(
            claim=record.claim,
            unit=record.unit,
            old_unit=None if claim is None else claim.unit,
            old_serial=None if claim is None else claim.serial,
            term=record.term,
            old_ball=record.old_ball,
            replaced_ms=fact.at_ms,
            address=fact.address,
            offset_min=parse_instant(record.at).offset_minutes,
        )
    )


KINDS = (Kind(ClaimReplaced, "report", _needs, _check, _effects, about_claim),)
