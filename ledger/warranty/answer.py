"""The answer to a warranty question about a serial: whose ball it is, of what it is made, in term or not, what stands out.

Each thing that stands out names the facts that show it, by address. The answer is a proposal: a person decides
(`CAUTION`). Claims against sister balls are counted plainly; no statistic is drawn from them here. The inputs are plain
records that the caller fills from the views; nothing is looked up here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from ledger.tracing.parts import Certainty
from ledger.warranty.terms import Term, TermAnswer, find_term, in_term

CAUTION = "a proposal with its reasons, not a decision: a person decides, with the ball in hand"

NEAR_EDGE_S = 900
NEAR_EDGE_SHARE = 20
"""A cure is named that ended near to an edge of its window: within 15 minutes, and within a twentieth of the time that
the window asks for, so that a demoulding of minutes is not always near (common practice, no source)."""

Standing = Literal["made by us", "number issued, no ball registered", "unknown", "several balls"]

RemarkSort = Literal["breach", "hold open", "hold lifted", "concession", "late", "doubtful"]


class Remark(msgspec.Struct, frozen=True, kw_only=True):
    """Something on record about a ball or a lot; ``facts`` are the addresses that show it."""

    sort: RemarkSort
    said: str
    facts: tuple[str, ...] = ()


class Cure(msgspec.Struct, frozen=True, kw_only=True):
    """How long a stage of the plan lasted, and its window, in elapsed seconds, both ends inclusive."""

    stage: str
    lasted_s: int
    min_s: int
    max_s: int | None = None
    facts: tuple[str, ...] = ()


class SisterClaims(msgspec.Struct, frozen=True, kw_only=True):
    """Claims against other balls that hold, or may hold, something of a lot, among ``balls`` such balls."""

    claims: int
    balls: int
    facts: tuple[str, ...] = ()


class LotRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A lot that the ball descends from, and what is on record about it."""

    lot: str
    stage: str
    certainty: Certainty
    remarks: tuple[Remark, ...] = ()
    cures: tuple[Cure, ...] = ()
    sisters: SisterClaims | None = None


class EarlierClaim(msgspec.Struct, frozen=True, kw_only=True):
    """A claim on the same ball."""

    claim: str
    mode: str
    state: str
    facts: tuple[str, ...] = ()


class BallRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One ball that bears or bore the number asked about, as the views have it."""

    unit: str
    serial: str | None
    model: str
    model_name: str
    made_on: dt.date | None
    weight_class: int | None = None
    state: str = ""
    grade: str | None = None
    facts: tuple[str, ...] = ()
    remarks: tuple[Remark, ...] = ()
    cures: tuple[Cure, ...] = ()
    lots: tuple[LotRecord, ...] = ()
    claims: tuple[EarlierClaim, ...] = ()


class Question(msgspec.Struct, frozen=True, kw_only=True):
    """What the desk asks: the number as read, the day asked about, and what is known of the purchase."""

    serial: str
    on: dt.date
    bought_on: dt.date | None = None
    market: str = ""


class Reason(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that stands out: about which node, how surely it concerns the ball, and the facts that show it."""

    about: str
    certainty: Certainty
    said: str
    facts: tuple[str, ...]


class BallAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The answer for one ball. ``of_what``: its lots in words, nearest first."""

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
    of_what: tuple[str, ...]
    stands_out: tuple[Reason, ...]
    proposal: str


class WarrantyAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The whole answer. With several balls each has its own part, and telling them apart comes first."""

    serial: str
    standing: Standing
    said: str
    balls: tuple[BallAnswer, ...]
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
    terms: Iterable[Term] = (),
    *,
    issued: bool = False,
    near_edge_s: int = NEAR_EDGE_S,
) -> WarrantyAnswer:
    """Answer a warranty question.

    ``balls``: every ball that bears or bore the number; ``issued``: whether the book allotted it;
    ``near_edge_s``: how near to its edge a cure must have ended to be named, in seconds.
    """
    terms = tuple(terms)
    standing = _standing(balls, issued=issued)
    answers = tuple(_ball_answer(question, ball, terms, near_edge_s) for ball in balls)
    return WarrantyAnswer(serial=question.serial, standing=standing, said=_SAID[standing], balls=answers)


def _standing(balls: Sequence[BallRecord], *, issued: bool) -> Standing:
    if len(balls) > 1:
        return "several balls"
    if balls:
        return "made by us"
    return "number issued, no ball registered" if issued else "unknown"


def _ball_answer(question: Question, ball: BallRecord, terms: Sequence[Term], near_edge_s: int) -> BallAnswer:
    term = find_term(terms, ball.model, question.market)
    answer = in_term(term, ball.made_on, question.bought_on, question.on, grade=ball.grade)
    reasons = (*_ball_reasons(question, ball, near_edge_s), *_lot_reasons(ball, near_edge_s))
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
        of_what=tuple(_lot_words(lot) for lot in ball.lots),
        stands_out=reasons,
        proposal=_proposal(answer, reasons),
    )


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
        reasons.append(_reason(about, f"{question.serial} is a former number of this ball; {now}", ball.facts))
    if ball.state in {"scrapped", "destroyed", "retained"}:
        reasons.append(
            _reason(about, f"the book has this ball as {ball.state}: it should not be with an owner", ball.facts)
        )
    reasons += [_reason(about, _remark_words(remark), remark.facts) for remark in ball.remarks]
    reasons += [_reason(about, said, cure.facts) for cure in ball.cures if (said := near_edge(cure, near_edge_s))]
    reasons += [
        _reason(about, f"earlier claim {claim.claim} on this ball ({claim.mode}): {claim.state}", claim.facts)
        for claim in ball.claims
    ]
    return reasons


def _lot_reasons(ball: BallRecord, near_edge_s: int) -> list[Reason]:
    reasons: list[Reason] = []
    for lot in ball.lots:
        about = f"lot:{lot.lot}"
        told = [(_remark_words(remark), remark.facts) for remark in lot.remarks]
        told += [(said, cure.facts) for cure in lot.cures if (said := near_edge(cure, near_edge_s))]
        if lot.sisters is not None and lot.sisters.claims:
            told.append((_sister_words(lot, lot.sisters), lot.sisters.facts))
        reasons += [_reason(about, said, facts, lot.certainty) for said, facts in told]
    return reasons


def _reason(about: str, said: str, facts: tuple[str, ...], certainty: Certainty = "certain") -> Reason:
    return Reason(about=about, certainty=certainty, said=said, facts=facts)


_REMARKS: dict[RemarkSort, str] = {
    "breach": "a rule was not kept",
    "hold open": "a hold is open",
    "hold lifted": "a hold was open and was lifted",
    "concession": "a concession was given",
    "late": "told late",
    "doubtful": "its time is doubtful",
}


def _remark_words(remark: Remark) -> str:
    return f"{_REMARKS[remark.sort]}: {remark.said}"


def _sister_words(lot: LotRecord, sisters: SisterClaims) -> str:
    claims = "1 claim" if sisters.claims == 1 else f"{sisters.claims} claims"
    balls = "1 other ball" if sisters.balls == 1 else f"{sisters.balls} other balls"
    return f"{claims} among {balls} that hold or may hold something of {lot.stage} lot {lot.lot}"


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
        "cannot tell": "ask for what is missing before anything else",
    }[term.outcome]
    return f"{term.outcome}; {found}: {then}"
