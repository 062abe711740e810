"""The answer to a warranty question about a serial: whose ball it is, of what it is made, in term or not, what stands out.

Each thing that stands out names the facts that show it, by address. The answer is a proposal: a person decides
(`CAUTION`). Claims against sister balls are counted plainly; no statistic is drawn from them here. The inputs are plain
records (`ball_record`) that the caller fills from the views; nothing is looked up here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Literal

import msgspec

from ledger.tracing.parts import Certainty
from ledger.warranty.ball_record import (
    BallRecord,
    ClaimLink,
    Cure,
    EarlierClaim,
    LotRecord,
    Remark,
    RemarkSort,
    SisterClaims,
)
from ledger.warranty.family_words import Compared, compare
from ledger.warranty.out_of_family import RULE
from ledger.warranty.terms import (
    DEFAULT_IN_FORCE,
    Dates,
    TermAnswer,
    Terms,
    TermsInForce,
    TermsSource,
    find_term,
    in_term,
    term_words,
)

CAUTION = "a proposal with its reasons, not a decision: a person decides, with the ball in hand"

NEAR_EDGE_S = 900
NEAR_EDGE_SHARE = 20
"""A cure is named that ended near to an edge of its window: within 15 minutes, and within a twentieth of the time that
the window asks for, so that a demoulding of minutes is not always near (common practice, no source)."""

NEAR_EDGE_RULE = (
    f"a cure is near to an edge of its window within {NEAR_EDGE_S // 60} minutes and one part in {NEAR_EDGE_SHARE} of the time "
    "asked for: common practice, no source"
)
"""The margin in a line, for whoever reads an answer."""

Standing = Literal["made by us", "number issued, no ball registered", "unknown", "several balls"]


class Question(msgspec.Struct, frozen=True, kw_only=True):
    """What the desk asks: the number as read, the day asked about, and what is known of the purchase and the fault."""

    serial: str
    on: dt.date
    bought_on: dt.date | None = None
    market: str = ""
    mode: str | None = None


ReasonSort = RemarkSort | Literal["former number", "ended", "near edge", "out of family", "claim", "sister claims"]


class Reason(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that stands out: about which node, how surely it concerns the ball, and the facts that show it."""

    sort: ReasonSort
    about: str
    certainty: Certainty
    said: str
    facts: tuple[str, ...]


class BallAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one ball. ``of_what``: its lots in words, nearest first; ``rule``: the term in words.

    ``compared``: each figure that was held against those of its like, whatever came of it.
    """

    unit: str
    serial: str | None
    model: str
    model_name: str
    made_on: dt.date | None
    weight_class: int | None
    state: str
    grade: str | None
    facts: tuple[str, ...]
    term: TermAnswer
    rule: str
    of_what: tuple[str, ...]
    compared: tuple[Compared, ...]
    claims: tuple[EarlierClaim, ...]
    stands_out: tuple[Reason, ...]
    proposal: str


class WarrantyAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The whole answer. With several balls each has its own part, and telling them apart comes first."""

    serial: str
    standing: Standing
    said: str
    balls: tuple[BallAnswer, ...]
    terms: TermsSource
    family_rule: str = RULE
    near_edge_rule: str = NEAR_EDGE_RULE
    caution: str = CAUTION


_SAID: dict[Standing, str] = {
    "made by us": "the number stands on one ball of this book",
    "number issued, no ball registered": (
        "this book issued the number, and no ball was registered with it: ask where the ball comes from"
    ),
    "unknown": "no ball of this book bears or bore the number: read it again, or ask for a photo of the engraving",
    "several balls": "more than one ball of this book bears or bore the number: tell them apart by model, weight and date",
}


def answer_question(
    question: Question,
    balls: Sequence[BallRecord],
    in_force: TermsInForce = DEFAULT_IN_FORCE,
    *,
    issued: bool = False,
    near_edge_s: int = NEAR_EDGE_S,
) -> WarrantyAnswer:
    """Answer a warranty question.

    ``balls``: every ball that bears or bore the number; ``in_force``: the terms to answer by; ``issued``: whether the book
    allotted the number; ``near_edge_s``: how near to its edge a cure must have ended to be named, in seconds.
    """
    standing = _standing(balls, issued=issued)
    answers = tuple(_ball_answer(question, ball, in_force.terms, near_edge_s) for ball in balls)
    return WarrantyAnswer(
        serial=question.serial, standing=standing, said=_SAID[standing], balls=answers, terms=in_force.source
    )


def _standing(balls: Sequence[BallRecord], *, issued: bool) -> Standing:
    if len(balls) > 1:
        return "several balls"
    if balls:
        return "made by us"
    return "number issued, no ball registered" if issued else "unknown"


def _ball_answer(question: Question, ball: BallRecord, terms: Terms, near_edge_s: int) -> BallAnswer:
    answer = _term_answer(question, ball, terms)
    compared = _compared(ball)
    reasons = (*_ball_reasons(question, ball, near_edge_s), *_lot_reasons(ball, near_edge_s), *_out_of_family(compared))
    return BallAnswer(
        unit=ball.unit,
        serial=ball.serial,
        model=ball.model,
        model_name=ball.model_name,
        made_on=ball.made_on,
        weight_class=ball.weight_class,
        state=ball.state,
        grade=ball.grade,
        facts=ball.facts,
        term=answer,
        rule=term_words(answer.term),
        of_what=(ball.made_before,) if ball.made_before else tuple(_lot_words(lot) for lot in ball.lots),
        compared=compared,
        claims=ball.claims,
        stands_out=reasons,
        proposal=_proposal(answer, reasons),
    )


def _term_answer(question: Question, ball: BallRecord, terms: Terms) -> TermAnswer:
    """By the dates of the ball itself; of a replacement by the day of replacing, or what was left to the ball before it."""
    replaced = ball.replaced
    own = Dates(ball.made_on, ball.shipped_on, question.bought_on, ball.grade, question.mode)
    if replaced is None:
        return in_term(find_term(terms.term, ball.model, question.market), own, question.on)
    old = replaced.old
    if old is None:
        term = find_term(terms.term, ball.model, question.market)
        dates = own._replace(shipped_on=replaced.on, bought_on=replaced.on)
        why = f"it came as a replacement under claim {replaced.claim} on {replaced.on}, with a fresh term"
    else:
        term = find_term(terms.term, old.model, question.market)
        dates = Dates(old.made_on, old.shipped_on, old.bought_on, old.grade, question.mode)
        why = f"it came as a replacement under claim {replaced.claim}, with what remained of the term of {old.number}"
    answer = in_term(term, dates, question.on)
    return msgspec.structs.replace(answer, reasons=(why, *answer.reasons))


def _compared(ball: BallRecord) -> tuple[Compared, ...]:
    own = [compare(figure, f"unit:{ball.unit}") for figure in ball.figures]
    above = [compare(figure, f"lot:{lot.lot}", lot.certainty) for lot in ball.lots for figure in lot.figures]
    return (*own, *above)


def _out_of_family(compared: Sequence[Compared]) -> list[Reason]:
    return [
        _reason("out of family", one.about, f"out of family: {one.said}", one.facts, one.certainty)
        for one in compared
        if one.outcome == "out of family"
    ]


def _lot_words(lot: LotRecord) -> str:
    surely = (
        "certain" if lot.certainty == "certain" else "possible: the records do not tell which of several lots it took"
    )
    return f"{lot.stage} lot {lot.lot}: {surely}"


def _ball_reasons(question: Question, ball: BallRecord, near_edge_s: int) -> list[Reason]:
    about = f"unit:{ball.unit}"
    reasons: list[Reason] = []
    if ball.serial != question.serial:
        now = f"it now bears {ball.serial}" if ball.serial else "it bears no number now"
        said = f"{question.serial} is a former number of this ball; {now}"
        reasons.append(_reason("former number", about, said, ball.facts))
    if ball.state in {"scrapped", "destroyed", "retained"}:
        said = f"the book has this ball as {ball.state}: it should not be with an owner"
        reasons.append(_reason("ended", about, said, ball.facts))
    reasons += [_reason(remark.sort, about, _remark_words(remark), remark.facts) for remark in ball.remarks]
    reasons += _near_edges(about, ball.cures, near_edge_s)
    reasons += [_reason("claim", about, _claim_words(one), one.facts, one.certainty) for one in ball.claims]
    return reasons


_LINKS: dict[ClaimLink, str] = {
    "same ball": "earlier claim {claim} on this ball ({mode}): {state}",
    "same fault": "earlier claim {claim} on this ball for the same fault ({mode}): {state}",
    "later": "later claim {claim} on this ball ({mode}): {state}",
    "replacement": "it came as the replacement under claim {claim} ({mode}): {state}",
}


def _claim_words(claim: EarlierClaim) -> str:
    return _LINKS[claim.link].format(claim=claim.claim, mode=claim.mode, state=claim.state)


def _lot_reasons(ball: BallRecord, near_edge_s: int) -> list[Reason]:
    reasons: list[Reason] = []
    for lot in ball.lots:
        about, certainty = f"lot:{lot.lot}", lot.certainty
        reasons += [_reason(one.sort, about, _remark_words(one), one.facts, certainty) for one in lot.remarks]
        reasons += _near_edges(about, lot.cures, near_edge_s, certainty)
        if lot.sisters is not None and lot.sisters.claims:
            said = _sister_words(lot, lot.sisters)
            reasons.append(_reason("sister claims", about, said, lot.sisters.facts, certainty))
    return reasons


def _near_edges(about: str, cures: Sequence[Cure], near_edge_s: int, certainty: Certainty = "certain") -> list[Reason]:
    told = [(near_edge(cure, near_edge_s), cure.facts) for cure in cures]
    return [_reason("near edge", about, said, facts, certainty) for said, facts in told if said]


def _reason(
    sort: ReasonSort, about: str, said: str, facts: tuple[str, ...], certainty: Certainty = "certain"
) -> Reason:
    return Reason(sort=sort, about=about, certainty=certainty, said=said, facts=facts)


_REMARKS: dict[RemarkSort, str] = {
    "breach": "a rule was not kept",
    "hold open": "a hold is open",
    "hold lifted": "a hold was open and was lifted",
    "concession": "a concession was given",
    "late": "told late",
    "doubtful": "its time is doubtful",
    "case open": "a case is open",
    "case closed": "a case was open and was closed",
}


def _remark_words(remark: Remark) -> str:
    return f"{_REMARKS[remark.sort]}: {remark.said}"


def _sister_words(lot: LotRecord, sisters: SisterClaims) -> str:
    claims = "1 claim" if sisters.claims == 1 else f"{sisters.claims} claims"
    balls = "1 other ball" if sisters.balls == 1 else f"{sisters.balls} other balls"
    rejected = f", {sisters.rejected} of them rejected" if sisters.rejected else ""
    return f"{claims} among {balls} that hold or may hold something of {lot.stage} lot {lot.lot}{rejected}"


def near_edge(cure: Cure, near_s: int) -> str:
    """What to say of a cure that kept its window by ``near_s`` seconds or less, and by little of it; empty otherwise.

    One outside its window is a breach, and is told as such.
    """
    near_s = min(near_s, (cure.min_s or near_s * NEAR_EDGE_SHARE) // NEAR_EDGE_SHARE)
    over = cure.lasted_s - cure.min_s
    if cure.min_s > 0 and 0 <= over <= near_s:
        return f"{cure.stage} kept its least time of {cure.min_s} s by {over} s"
    if cure.max_s is not None and 0 <= cure.max_s - cure.lasted_s <= near_s:
        return f"{cure.stage} kept its longest time of {cure.max_s} s by {cure.max_s - cure.lasted_s} s"
    return ""


def _proposal(term: TermAnswer, reasons: Sequence[Reason]) -> str:
    if not reasons:
        found = "nothing stands out about it or its lots"
    elif len(reasons) == 1:
        found = "one thing stands out, named below"
    else:
        found = f"{len(reasons)} things stand out, named below"
    then = {
        "in term": "examine the ball for a maker's fault",
        "out of term": "no claim by right; goodwill is for a person to weigh",
        "excluded": "not covered by the term; goodwill is for a person to weigh",
        "cannot tell": "ask for what is missing before anything else",
    }[term.outcome]
    return f"{term.outcome}; {found}: {then}"
