"""What the facts of a claim speak for, and what each decision would need."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from ledger.line.claim_reasons import REASONS, WORDS
from ledger.warranty.answer import Question, answer_question
from ledger.warranty.ball_record import BallRecord, EarlierClaim, LotRecord, Remark, RemarkSort
from ledger.warranty.proposal import DECISION_WORDS, DECISIONS, Proposal, propose

EVERYTHING = frozenset(WORDS)


def proposed(*there: str, bought_on: str | None = "2026-03-01", balls: int = 1, **more: Any) -> Proposal:
    """The proposal for a claim of 1 June 2026 on a ball made in 2024, with this evidence."""
    fields: dict[str, Any] = {"unit": "U-1", "serial": "P-1", "model": "M1", "model_name": "M", "facts": ("5.0",)}
    ball = BallRecord(**{**fields, "made_on": dt.date(2024, 1, 1), "grade": "first", **more})
    question = Question(
        serial="P-1",
        on=dt.date(2026, 6, 1),
        bought_on=None if bought_on is None else dt.date.fromisoformat(bought_on),
        mode="void",
    )
    return propose(answer_question(question, [ball] * balls), frozenset(there))


def breach(sort: RemarkSort = "breach") -> tuple[LotRecord, ...]:
    """A lot with something on record."""
    remark = Remark(sort=sort, said="block-rest lasted 20 h", facts=("12.0",))
    return (LotRecord(lot="C2", stage="core", certainty="possible", remarks=(remark,)),)


BEFORE = EarlierClaim(claim="C-0", mode="void", state="accept", link="same fault", facts=("80.0",))


@pytest.mark.parametrize(
    ("asked", "spoken"),
    [
        ({"balls": 0}, ("need-more", "number-missing")),
        ({"balls": 2}, ("need-more", "number-missing")),
        ({"bought_on": None}, ("need-more", "proof-missing")),
        ({"bought_on": "2023-01-01"}, ("need-more", "proof-missing")),
        ({"bought_on": "2024-03-01"}, ("reject", "out-of-term")),
        ({"bought_on": "2024-03-01", "lots": breach()}, ("goodwill", "known-fault")),
        ({"bought_on": "2024-03-01", "lots": breach("late")}, ("reject", "out-of-term")),
        ({"grade": "second"}, ("reject", "not-covered")),
        ({}, ("need-more", "photo-missing")),
        ({"claims": (BEFORE,)}, ("reject", "claimed-before")),
    ],
)
def test_without_evidence_the_facts_speak_so(asked: dict[str, Any], spoken: tuple[str, str]) -> None:
    """Unknown or several balls, a term that cannot be told, is over or does not cover it, no photo, a settled claim."""
    proposal = proposed(**asked)
    assert spoken == (proposal.speaks_for, proposal.reason)
    assert proposal.why


@pytest.mark.parametrize(
    ("there", "lots", "spoken"),
    [
        (("photo",), (), ("send-back", "examine-at-maker")),
        (("photo",), breach(), ("send-back", "examine-at-maker")),
        (("photo", "examination"), (), ("accept", "in-term")),
        (("examination",), (), ("accept", "fault-found")),
        (("examination",), breach("case open"), ("accept", "known-fault")),
        (("examination",), breach("hold open"), ("accept", "known-fault")),
    ],
)
def test_in_term_the_examination_comes_first(there: tuple[str, ...], lots: Any, spoken: tuple[str, str]) -> None:
    """A photo calls for an examination; one speaks for accepting, as a known fault where the making is in question."""
    proposal = proposed(*there, lots=lots)
    assert spoken == (proposal.speaks_for, proposal.reason)


def test_what_speaks_for_a_fault_names_its_facts_and_certainty() -> None:
    """What stands out is told with the node, how surely it concerns the ball, and the facts."""
    proposal = proposed("examination", lots=breach())
    assert ("lot:C2 (possible): a rule was not kept: block-rest lasted 20 h", ("12.0",)) == (
        proposal.why[-1],
        proposal.facts,
    )
    (way,) = [way for way in proposal.ways if (way.decision, way.reason) == ("accept", "known-fault")]
    assert (("12.0",), ("one ball of the book that answers to the claim",)) == (way.rests_on, way.missing)


def test_every_decision_and_reason_of_the_table_is_a_way() -> None:
    """Each with what it lacks, and nothing where all is there."""
    ways = proposed().ways
    assert [(decision, one.reason) for decision in DECISIONS for one in REASONS if decision in one.decisions] == [
        (way.decision, way.reason) for way in ways
    ]
    assert set(DECISION_WORDS) == {way.decision for way in ways}
    lacking = {way.reason: way.missing for way in ways if way.decision == "reject"}
    assert ("an examination",) == lacking["misuse"]
    assert ("a fact of the other claim (rests_on)",) == lacking["claimed-before"]
    assert not any(way.missing for way in proposed(*EVERYTHING).ways)


def test_what_the_facts_say_against_a_reason_is_told() -> None:
    """Out of term is no reason while the ball is in term, nor the other way, and ours is not another maker's."""
    against = {way.reason: way.against for way in proposed(bought_on="2024-03-01").ways}
    assert (("the term says: out of term",), (), ("the term says: out of term",)) == (
        against["in-term"], against["out-of-term"], against["not-covered"],
    )  # fmt: skip
    assert ("one ball of this book answers to the claim",) == against["not-our-ball"]
    assert () == {way.reason: way.against for way in proposed(balls=0).ways}["not-our-ball"]


def test_a_proposal_leaves_the_decision_to_a_person() -> None:
    """The caution stands on it."""
    assert "a person decides" in proposed().caution
