"""Answers to warranty questions."""

from __future__ import annotations

import datetime as dt
from typing import Any

import msgspec
import pytest

from ledger.warranty.answer import (
    CAUTION,
    BallRecord,
    Cure,
    EarlierClaim,
    LotRecord,
    Question,
    Remark,
    SisterClaims,
    answer_question,
    near_edge,
)
from ledger.warranty.terms import Term

ASKED = Question(serial="7Q24M29KA", on=dt.date(2025, 3, 1), bought_on=dt.date(2024, 9, 1))


def ball(**more: Any) -> BallRecord:
    """A ball of the number asked about, with nothing odd on record."""
    fields: dict[str, Any] = {
        "unit": "U-1",
        "serial": "7Q24M29KA",
        "model": "ROC",
        "model_name": "Rockrose",
        "made_on": dt.date(2024, 5, 6),
        "weight_class": 15,
        "state": "shipped",
        "grade": "first",
        "facts": ("40.0",),
    }
    return BallRecord(**(fields | more))


def test_an_ordinary_ball_gets_a_short_answer() -> None:
    """One ball, in term, nothing odd: the answer says so and leaves the decision to a person."""
    answer = answer_question(ASKED, [ball()])
    assert ("made by us", CAUTION) == (answer.standing, answer.caution)
    assert "in term" == answer.balls[0].term.outcome
    assert "in term; nothing stands out about it or its lots: examine the ball for a maker's fault" == (
        answer.balls[0].proposal
    )


@pytest.mark.parametrize(
    ("balls", "issued", "standing"),
    [
        ([], False, "unknown"),
        ([], True, "number issued, no ball registered"),
        ([ball(), ball(unit="U-2")], True, "several balls"),
    ],
)
def test_each_standing_has_its_word(balls: list[BallRecord], *, issued: bool, standing: str) -> None:
    """Unknown, issued without a ball, and several balls are told apart, and none is guessed at."""
    answer = answer_question(ASKED, balls, issued=issued)
    assert (standing, len(balls)) == (answer.standing, len(answer.balls))


def test_lots_are_told_with_their_certainty() -> None:
    """The answer says of what the ball is made, and how surely."""
    lots = (
        LotRecord(lot="S1", stage="shell", certainty="certain"),
        LotRecord(lot="C2", stage="core", certainty="possible"),
    )
    assert (
        "shell lot S1: certain",
        "core lot C2: possible: the records do not tell which of several lots it took",
    ) == answer_question(ASKED, [ball(lots=lots)]).balls[0].of_what


def test_each_reason_names_its_facts() -> None:
    """Breaches, holds, concessions, late facts, near cures and claims are told, each with the facts that show it."""
    lots = (
        LotRecord(
            lot="C2",
            stage="core",
            certainty="possible",
            remarks=(Remark(sort="breach", said="block-rest lasted 20 h", facts=("12.0",)),),
            cures=(Cure(stage="core-rest", lasted_s=86_500, min_s=86_400, facts=("13.0",)),),
            sisters=SisterClaims(claims=9, balls=48, facts=("90.0", "91.0")),
        ),
    )
    record = ball(
        lots=lots,
        remarks=(Remark(sort="concession", said="pin mark off", facts=("44.0",)),),
        claims=(EarlierClaim(claim="CL-1", mode="pin-loose", state="reject", facts=("80.0",)),),
    )
    reasons = answer_question(ASKED, [record]).balls[0].stands_out
    assert [
        ("unit:U-1", "certain", ("44.0",)),
        ("unit:U-1", "certain", ("80.0",)),
        ("lot:C2", "possible", ("12.0",)),
        ("lot:C2", "possible", ("13.0",)),
        ("lot:C2", "possible", ("90.0", "91.0")),
    ] == [(reason.about, reason.certainty, reason.facts) for reason in reasons]
    assert "9 claims among 48 other balls that hold or may hold something of core lot C2" == reasons[-1].said


def test_no_claims_on_sisters_is_no_reason() -> None:
    """A lot without claims does not stand out."""
    lot = LotRecord(lot="C2", stage="core", certainty="certain", sisters=SisterClaims(claims=0, balls=48))
    assert () == answer_question(ASKED, [ball(lots=(lot,))]).balls[0].stands_out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"serial": "2345ACDFG"}, "7Q24M29KA is a former number of this ball; it now bears 2345ACDFG"),
        ({"serial": None}, "7Q24M29KA is a former number of this ball; it bears no number now"),
        ({"state": "scrapped"}, "the book has this ball as scrapped: it should not be with an owner"),
    ],
)
def test_a_ball_that_should_not_be_there_is_named(more: dict[str, Any], said: str) -> None:
    """A former number and a ball that was never to leave are told first."""
    assert said == answer_question(ASKED, [ball(**more)]).balls[0].stands_out[0].said


@pytest.mark.parametrize(
    ("lasted", "named"),
    [(86_399, False), (86_400, True), (87_300, True), (87_301, False), (90_000, True), (90_001, False)],
)
def test_a_cure_near_an_edge_is_named(lasted: int, *, named: bool) -> None:
    """Within the margin of either end, inclusive; outside the window it is a breach and told as such."""
    cure = Cure(stage="final-cure", lasted_s=lasted, min_s=86_400, max_s=90_000)
    assert named == bool(near_edge(cure, 900))


@pytest.mark.parametrize(("lasted", "named"), [(300, True), (315, True), (316, False), (390, False)])
def test_minutes_are_not_always_near(lasted: int, *, named: bool) -> None:
    """In a window of minutes only a twentieth of its least time counts as near."""
    cure = Cure(stage="block-demould", lasted_s=lasted, min_s=300, max_s=540)
    assert named == bool(near_edge(cure, 900))


def test_the_terms_of_the_model_are_used() -> None:
    """A model's own term decides."""
    terms = [Term(model="ROC", months=3, source="plant")]
    answer = answer_question(ASKED, [ball()], terms).balls[0]
    assert ("out of term", dt.date(2024, 12, 1)) == (answer.term.outcome, answer.term.last_day)
    assert answer.proposal.startswith("out of term;")


def test_an_answer_becomes_json() -> None:
    """The answer is plain data."""
    raw = msgspec.json.encode(answer_question(ASKED, [ball()]))
    assert "in term" == msgspec.json.decode(raw)["balls"][0]["term"]["outcome"]
