"""What the facts of a claim speak for, and what each decision would still need: a proposal, which decides nothing.

The reasons that a decision may be given for, and their evidence, are `ledger.line.claim_reasons` (common practice, no
source). What the facts speak for is read off by the rules of `_spoken_for`, in their order, and each says why; what was
found in an examination is for a person to read.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import msgspec

from ledger.line.claim_reasons import MENDS, REASONS, WORDS, Reason, missing
from ledger.warranty.answer import CAUTION, BallAnswer, WarrantyAnswer

Decision = Literal["accept", "reject", "goodwill", "need-more", "send-back"]

DECISIONS: tuple[Decision, ...] = ("accept", "reject", "goodwill", "need-more", "send-back")

DECISION_WORDS: dict[Decision, str] = {
    "accept": "accept the claim",
    "reject": "reject the claim",
    "goodwill": "settle it by goodwill",
    "need-more": "ask the claimant for more",
    "send-back": "have the ball sent back for examination",
}

MAKERS_FAULTS = frozenset({"breach", "hold open", "case open", "concession", "out of family"})
"""What stands out that may speak for a fault of the maker's."""


class Way(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A decision and a reason that may carry it.

    ``missing``: the evidence that it lacks; ``mend``: what would bring it; ``against``: what the facts say against it;
    ``rests_on``: facts that it may rest on.
    """

    decision: Decision
    reason: str
    words: str
    missing: tuple[str, ...] = ()
    mend: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    rests_on: tuple[str, ...] = ()


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """What the facts speak for, with a reason of the table and why; and every way to decide. A person decides."""

    speaks_for: Decision
    reason: str
    why: tuple[str, ...]
    facts: tuple[str, ...]
    ways: tuple[Way, ...]
    caution: str = CAUTION


class _Spoken(msgspec.Struct, frozen=True):
    decision: Decision
    reason: str
    why: tuple[str, ...]
    facts: tuple[str, ...] = ()


def propose(answer: WarrantyAnswer, there: frozenset[str]) -> Proposal:
    """What the facts of a claim speak for. ``there``: the kinds of evidence that the book holds for a decision."""
    ball = answer.balls[0] if len(answer.balls) == 1 else None
    spoken = _unknown_ball(answer) if ball is None else _spoken_for(ball, there)
    ways = tuple(
        _way(decision, reason, ball, there)
        for decision in DECISIONS
        for reason in REASONS
        if decision in reason.decisions
    )
    return Proposal(speaks_for=spoken.decision, reason=spoken.reason, why=spoken.why, facts=spoken.facts, ways=ways)


def _unknown_ball(answer: WarrantyAnswer) -> _Spoken:
    return _Spoken("need-more", "number-missing", (answer.said,))


def _spoken_for(ball: BallAnswer, there: frozenset[str]) -> _Spoken:
    """What stands first in this order: the same fault settled before; a term that cannot be told, is over, or does not
    cover it; a known fault; no photo; no examination; an examination.
    """
    before = [claim for claim in ball.claims if claim.link == "same fault" and claim.state in {"accept", "goodwill"}]
    if before:
        facts = tuple(fact for claim in before for fact in claim.facts)
        return _Spoken("reject", "claimed-before", (f"the same fault was settled by claim {before[-1].claim}",), facts)
    faults, facts = _faults(ball)
    outcome = ball.term.outcome
    if outcome == "cannot tell":
        return _Spoken("need-more", "proof-missing", ball.term.reasons, ball.facts)
    if outcome != "in term":
        return _after_term(ball, faults, facts)
    if not there & {"photo", "examination"}:
        return _Spoken("need-more", "photo-missing", ("in term, and neither photo nor examination shows the fault",))
    if faults and "examination" in there:
        return _Spoken(
            "accept", "known-fault", ("in term, examined, and what it is made of is in question", *faults), facts
        )
    if "examination" not in there:
        why = ("in term, and nobody has examined the ball",)
        return _Spoken("send-back", "examine-at-maker", (*why, *faults), facts)
    why = ("in term and examined: whether the fault is the maker's is for whoever reads what was found",)
    return _Spoken("accept", "in-term" if "photo" in there else "fault-found", why, ball.facts)


def _after_term(ball: BallAnswer, faults: tuple[str, ...], facts: tuple[str, ...]) -> _Spoken:
    if faults:
        return _Spoken("goodwill", "known-fault", (*ball.term.reasons, *faults), facts)
    return _Spoken("reject", _NO_RIGHT[ball.term.outcome], ball.term.reasons, ball.facts)


_NO_RIGHT = {"out of term": "out-of-term", "excluded": "not-covered"}


def _faults(ball: BallAnswer) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What stands out that may speak for a fault of the maker's, and the facts that show it."""
    found = [reason for reason in ball.stands_out if reason.sort in MAKERS_FAULTS]
    said = tuple(f"{reason.about} ({reason.certainty}): {reason.said}" for reason in found)
    return said, tuple(dict.fromkeys(fact for reason in found for fact in reason.facts))


def _way(decision: Decision, reason: Reason, ball: BallAnswer | None, there: frozenset[str]) -> Way:
    rests_on = () if ball is None else _may_rest_on(reason, ball)
    lacking = list(missing(reason, there | {"fact-named", "other-claim"} if rests_on else there))
    return Way(
        decision=decision,
        reason=reason.reason,
        words=reason.words,
        missing=tuple(" or ".join(WORDS[kind] for kind in need) for need in lacking),
        mend=tuple(" or ".join(MENDS[kind] for kind in need) for need in lacking),
        against=() if ball is None else tuple(_against(reason, ball)),
        rests_on=rests_on,
    )


def _may_rest_on(reason: Reason, ball: BallAnswer) -> tuple[str, ...]:
    if reason.reason == "known-fault":
        return _faults(ball)[1]
    if reason.reason == "claimed-before":
        return tuple(fact for claim in ball.claims if claim.link == "same fault" for fact in claim.facts)
    return ()


def _against(reason: Reason, ball: BallAnswer) -> Iterator[str]:
    outcome = ball.term.outcome
    if reason.reason == "in-term" and outcome != "in term":
        yield f"the term says: {outcome}"
    if reason.reason == "out-of-term" and outcome != "out of term":
        yield f"the term says: {outcome}"
    if reason.reason == "not-covered" and outcome != "excluded":
        yield f"the term says: {outcome}"
    if reason.reason == "not-our-ball":
        yield "one ball of this book answers to the claim"
