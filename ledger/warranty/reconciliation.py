"""Where every ball of a case is, to the last one: what the book has, and what consignees answered about those sent out.

Pure. Each ball counts once: here by its place, or shipped by the last answer of whoever holds it.  The holder is the
consignee that it was sent to, or the one that it was moved to by his answer, and so on.  An answer of anybody else counts
for nothing and is told; so is an answer that the book speaks against.  Silence stays `unaccounted`: nobody is taken at a
word that he did not say.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import msgspec

from ledger.warranty.places import PLACES, Place

ANSWERS = ("in-stock", "sold", "moved", "destroyed", "returned", "not-received")
UNACCOUNTED = "unaccounted"
GONE = frozenset({"destroyed"})
"""Answers after which a ball cannot be anywhere."""


class Answer(NamedTuple):
    """What a consignee said of a ball last, and when; ``to`` where he moved it, if he said that."""

    consignee: str
    said: str
    at_ms: int
    to: str | None = None


class CaseBall(NamedTuple):
    """A ball of a case. ``sent_to``: the consignee that it is away with, None for one not in the register or at home.

    ``sent_ms``: when it left; ``answers``: the last of each consignee about it; ``back_ms``: when it came back last.
    """

    unit: str
    serial: str | None
    certainty: str
    place: Place
    sent_to: str | None = None
    sent_ms: int | None = None
    shipment: str | None = None
    answers: tuple[Answer, ...] = ()
    back_ms: int | None = None


class Settled(NamedTuple):
    """A ball with who holds it and what was answered: `unaccounted` for one that is out and not answered for."""

    ball: CaseBall
    holder: str | None
    answer: str | None
    remarks: tuple[str, ...]


class ConsigneeSum(msgspec.Struct, frozen=True, kw_only=True):
    """The balls that one consignee holds, by answer. ``consignee`` is None for those sent to nobody of the register."""

    consignee: str | None
    balls: int
    answers: dict[str, int]


class Reconciliation(msgspec.Struct, frozen=True, kw_only=True):
    """A case added up: ``places`` sum to ``balls``, ``answers`` and the ``consignees`` to the shipped ones among them.

    ``contradictions``: balls of which the book and the answers, or two answers, do not agree; the first 200.
    """

    balls: int
    certain: int
    possible: int
    places: dict[str, int]
    answers: dict[str, int]
    unaccounted: int
    consignees: tuple[ConsigneeSum, ...]
    contradictions: tuple[str, ...]
    more: bool


MOST_TOLD = 200


def settle(ball: CaseBall) -> Settled:
    """Who holds a ball, and what he said of it."""
    if ball.place != "shipped":
        return Settled(ball, None, None, tuple(_at_home(ball)))
    # What was answered before it left the last time is about another journey.
    fresh = {one.consignee: one for one in ball.answers if ball.sent_ms is None or one.at_ms >= ball.sent_ms}
    holder, answer, seen = ball.sent_to, None, set[str]()
    while holder is not None and holder in fresh and holder not in seen:
        seen.add(holder)
        answer = fresh[holder]
        if answer.to is None:
            break
        holder = answer.to
    said = UNACCOUNTED if answer is None else answer.said
    strangers = [one for one in fresh.values() if one.consignee not in {*seen, holder}]
    return Settled(ball, holder, said, tuple(_away(ball, holder, said, strangers)))


def _at_home(ball: CaseBall) -> Iterable[str]:
    for one in ball.answers:
        if one.said in GONE and ball.place not in {"scrapped", "destroyed"}:
            yield f"{_name(ball)}: {one.consignee} answered {one.said}, and it is {ball.place} here"
        elif one.said == "not-received" and ball.back_ms is not None and ball.back_ms >= one.at_ms:
            yield f"{_name(ball)}: {one.consignee} answered not-received, and it came back later"
        elif ball.back_ms is not None and one.at_ms > ball.back_ms and one.said in {"in-stock", "sold"}:
            yield f"{_name(ball)}: {one.consignee} answered {one.said} after it came back here"
    if ball.place == "elsewhere":
        yield f"{_name(ball)}: the book has it away and ended at once"


def _away(ball: CaseBall, holder: str | None, said: str, strangers: list[Answer]) -> Iterable[str]:
    for one in strangers:
        sent = ball.sent_to or "somebody outside the register"
        yield f"{_name(ball)}: {one.consignee} answered {one.said}, and it was sent to {sent}"
    if said == "returned":
        yield f"{_name(ball)}: {holder} answered returned, and it has not come in"


def _name(ball: CaseBall) -> str:
    return f"{ball.serial} ({ball.unit})" if ball.serial else ball.unit


def reconcile(balls: Iterable[CaseBall]) -> Reconciliation:
    """Add up the balls of a case, each given once."""
    places, certainties = Counter[str](), Counter[str]()
    answers: dict[str | None, Counter[str]] = {}
    told: list[str] = []
    for ball in balls:
        settled = settle(ball)
        places[ball.place] += 1
        certainties[ball.certainty] += 1
        if settled.answer is not None:
            answers.setdefault(settled.holder, Counter())[settled.answer] += 1
        told += settled.remarks[: MOST_TOLD + 1 - len(told)]
    total = sum(answers.values(), Counter[str]())
    return Reconciliation(
        balls=places.total(),
        certain=certainties["certain"],
        possible=certainties["possible"],
        places={place: places[place] for place in PLACES},
        answers={answer: total[answer] for answer in (*ANSWERS, UNACCOUNTED)},
        unaccounted=total[UNACCOUNTED],
        consignees=_sums(answers),
        contradictions=tuple(told[:MOST_TOLD]),
        more=len(told) > MOST_TOLD,
    )


def _sums(answers: Mapping[str | None, Counter[str]]) -> tuple[ConsigneeSum, ...]:
    ordered = sorted(answers, key=lambda name: (name is None, name or ""))
    return tuple(
        ConsigneeSum(
            consignee=name,
            balls=answers[name].total(),
            answers={answer: answers[name][answer] for answer in (*ANSWERS, UNACCOUNTED) if answers[name][answer]},
        )
        for name in ordered
    )
