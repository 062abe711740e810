"""Reconciliation: every ball of a case counted once, wherever it is and whatever was answered."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.warranty.places import PLACES
from ledger.warranty.reconciliation import (
    ANSWERS,
    MOST_TOLD,
    UNACCOUNTED,
    Answer,
    CaseBall,
    reconcile,
    settle,
)

SHOPS = ("SHOP-1", "SHOP-2", "SHOP-3")


def out(unit: str = "U-1", *answers: Answer, **fields: Any) -> CaseBall:
    """A ball that is away with SHOP-1 since instant 100."""
    said: dict[str, Any] = {"unit": unit, "serial": None, "certainty": "certain", "place": "shipped"}
    return CaseBall(**{**said, "sent_to": "SHOP-1", "sent_ms": 100, "answers": answers, **fields})


def home(*answers: Answer, **fields: Any) -> CaseBall:
    """A ball that is here, back since instant 200."""
    return out("U-1", *answers, **{"place": "returned", "sent_to": None, "sent_ms": None, "back_ms": 200, **fields})


def test_silence_stays_unaccounted() -> None:
    """A ball that is out and not answered for, in the register or not."""
    for ball in (out(), out(sent_to=None)):
        settled = settle(ball)
        assert (UNACCOUNTED, ball.sent_to) == (settled.answer, settled.holder)


@pytest.mark.parametrize("said", ANSWERS)
def test_the_holder_is_taken_at_his_word(said: str) -> None:
    """Each answer counts as it is."""
    assert (said, "SHOP-1") == (settle(out("U-1", Answer("SHOP-1", said, 150))).answer, "SHOP-1")


def test_a_moved_ball_is_answered_for_by_whom_it_came_to() -> None:
    """As far as the chain goes; until he answers, it is moved, and he is the holder."""
    moved = Answer("SHOP-1", "moved", 150, to="SHOP-2")
    assert ("moved", "SHOP-2") == (settle(out("U-1", moved)).answer, settle(out("U-1", moved)).holder)
    on = Answer("SHOP-2", "moved", 140, to="SHOP-3")
    last = Answer("SHOP-3", "sold", 160)
    assert ("sold", "SHOP-3") == settle(out("U-1", moved, on, last))[2:0:-1]
    round_trip = settle(out("U-1", moved, Answer("SHOP-2", "moved", 160, to="SHOP-1")))
    assert ("moved", "SHOP-1", ()) == (round_trip.answer, round_trip.holder, round_trip.remarks)


def test_a_stranger_counts_for_nothing_and_is_told() -> None:
    """Another shop's answer leaves the ball unaccounted for."""
    settled = settle(out("U-1", Answer("SHOP-2", "in-stock", 150)))
    assert UNACCOUNTED == settled.answer
    assert ("U-1: SHOP-2 answered in-stock, and it was sent to SHOP-1",) == settled.remarks
    outside = settle(out("U-1", Answer("SHOP-2", "in-stock", 150), sent_to=None))
    assert "outside the register" in outside.remarks[0]


def test_an_answer_from_before_the_last_shipment_is_about_another_journey() -> None:
    """The instant of leaving itself counts."""
    assert UNACCOUNTED == settle(out("U-1", Answer("SHOP-1", "sold", 99))).answer
    assert "sold" == settle(out("U-1", Answer("SHOP-1", "sold", 100))).answer


@pytest.mark.parametrize(
    ("ball", "words"),
    [
        (out("U-1", Answer("SHOP-1", "returned", 150)), "has not come in"),
        (home(Answer("SHOP-1", "destroyed", 150)), "answered destroyed, and it is returned here"),
        (home(Answer("SHOP-1", "not-received", 150)), "came back later"),
        (home(Answer("SHOP-1", "sold", 250)), "after it came back"),
        (home(place="elsewhere"), "away and ended at once"),
    ],
)
def test_contradictions_are_told(ball: CaseBall, words: str) -> None:
    """What the book and an answer say against each other; the ball counts where the book has it."""
    assert any(words in told for told in settle(ball).remarks)
    assert words in " ".join(reconcile([ball]).contradictions)


@pytest.mark.parametrize(
    "ball",
    [
        home(Answer("SHOP-1", "destroyed", 150), place="destroyed"),
        home(Answer("SHOP-1", "sold", 150)),
        home(Answer("SHOP-1", "returned", 150)),
        home(Answer("SHOP-1", "not-received", 250)),
    ],
)
def test_what_agrees_is_not_told(ball: CaseBall) -> None:
    """A sold ball that came back afterwards, one that was returned, one destroyed on both sides."""
    assert () == settle(ball).remarks


def test_the_first_contradictions_are_told_and_that_there_are_more() -> None:
    """So that an answer stays small."""
    summed = reconcile(out(f"U-{number}", Answer("SHOP-1", "returned", 150)) for number in range(MOST_TOLD + 5))
    assert (MOST_TOLD, True) == (len(summed.contradictions), summed.more)
    assert not reconcile([out("U-1", Answer("SHOP-1", "returned", 150))]).more


answers = st.builds(
    Answer,
    consignee=st.sampled_from(SHOPS),
    said=st.sampled_from(ANSWERS),
    at_ms=st.integers(0, 300),
    to=st.none() | st.sampled_from(SHOPS),
)
balls = st.lists(
    st.builds(
        CaseBall,
        unit=st.uuids().map(str),
        serial=st.none() | st.just("P1"),
        certainty=st.sampled_from(["certain", "possible"]),
        place=st.sampled_from(PLACES),
        sent_to=st.none() | st.sampled_from(SHOPS),
        sent_ms=st.none() | st.integers(0, 300),
        answers=st.lists(answers, max_size=4, unique_by=lambda answer: answer.consignee).map(tuple),
        back_ms=st.none() | st.integers(0, 300),
    ),
    max_size=30,
)


@given(balls)
def test_every_sum_adds_up_to_the_last_ball(case: list[CaseBall]) -> None:
    """Places and certainties to all balls; answers, and consignees with theirs, to those that are shipped."""
    summed = reconcile(case)
    assert len(case) == summed.balls == sum(summed.places.values()) == summed.certain + summed.possible
    assert summed.places["shipped"] == sum(summed.answers.values()) == sum(one.balls for one in summed.consignees)
    assert all(one.balls == sum(one.answers.values()) for one in summed.consignees)
    assert summed.unaccounted == summed.answers[UNACCOUNTED]
    settled = [settle(ball) for ball in case]
    for answer in (*ANSWERS, UNACCOUNTED):
        assert summed.answers[answer] == sum(one.answer == answer for one in settled)


@given(balls)
def test_only_silence_is_unaccounted(case: list[CaseBall]) -> None:
    """A shipped ball is so exactly where nobody who was sent it has answered since it left."""
    for settled in map(settle, case):
        ball = settled.ball
        spoke = any(
            one.consignee == ball.sent_to and (ball.sent_ms is None or one.at_ms >= ball.sent_ms)
            for one in ball.answers
        )
        assert (ball.place == "shipped" and not spoke) == (settled.answer == UNACCOUNTED)
