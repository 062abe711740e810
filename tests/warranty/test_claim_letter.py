"""The words of a letter to a claimant."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from ledger.line.claim_reasons import REASONS
from ledger.warranty.claim_letter import ANSWERED, REASONS_TOLD, LetterFacts, claim_letter
from ledger.warranty.letter import Letter


def letter(state: str, reason: str, **more: Any) -> Letter:
    """A letter of 1 June 2026."""
    facts: dict[str, Any] = {
        "plant": "Example Balls", "to": ("Ann Example", "1 Lane Road"), "on": dt.date(2026, 6, 1), "claim": "WC-1",
        "opened_on": dt.date(2026, 5, 20), "number": "7Q24M29KA", "model_name": "Rockrose",
        "mode_words": "crack over the weight block", "state": state, "reason": reason,
    }  # fmt: skip
    return claim_letter(LetterFacts(**{**facts, **more}))


def text(letter: Letter) -> str:
    """Its paragraphs."""
    return "\n".join(letter.paragraphs)


def test_every_reason_of_the_table_has_words_for_a_claimant() -> None:
    """No reason is left without words, and none has words that is no reason."""
    assert {one.reason for one in REASONS} == set(REASONS_TOLD)


@pytest.mark.parametrize("state", sorted(ANSWERED))
def test_each_letter_names_ball_claim_and_sender(state: str) -> None:
    """Whatever was decided, the number, the claim, the fault as told and the sender stand on it."""
    made = letter(state, "in-term")
    assert ("Example Balls", "Ann Example", "Claim WC-1") == (made.sender[0], made.to[0], made.reference)
    assert "Your claim WC-1: ball 7Q24M29KA" == made.subject
    assert "ball 7Q24M29KA (Rockrose). On 2026-05-20 we took your claim as WC-1" in text(made)
    assert "for this fault: crack over the weight block." in text(made)
    assert made.closing[-1] == "Example Balls, warranty desk"
    assert made.paragraphs[-1].startswith("Your rights under the law")


@pytest.mark.parametrize(
    ("state", "reason", "said"),
    [
        ("accept", "fault-found", "We accept your claim: a fault of ours was found on the ball."),
        ("reject", "misuse", "We cannot accept your claim: the damage comes from use or handling."),
        (
            "goodwill",
            "worn",
            "as a gesture of goodwill: what you describe is ordinary wear. We do so of our own free will",
        ),
        ("waiting", "photo-missing", "we need from you: photos of the fault, and one of the whole ball."),
        (
            "sent-back",
            "examine-at-maker",
            "we ask you to send us the ball, since we want to see the fault for ourselves.",
        ),
        ("reject", "a-reason-of-later", "We cannot accept your claim."),
    ],
)
def test_the_decision_and_its_reason_are_said(state: str, reason: str, said: str) -> None:
    """In plain words; a reason without words is not told."""
    assert said in text(letter(state, reason))


def test_the_end_of_the_term_is_told_where_it_is_the_reason() -> None:
    """And nowhere else."""
    term = ("bought on 2024-01-02, 12 months: to 2025-01-02 inclusive",)
    assert "By our records: bought on 2024-01-02, 12 months: to 2025-01-02 inclusive." in text(
        letter("reject", "out-of-term", term=term)
    )
    assert "2025-01-02" not in text(letter("reject", "misuse", term=term))


@pytest.mark.parametrize(
    ("state", "more", "said"),
    [
        ("accept", {"findings": ("crack at block", "dry edge")}, "We found: crack at block, dry edge."),
        (
            "reject",
            {"files": 1},
            "We decided by what you told us and the 1 file that came with it and by our own records",
        ),
        ("reject", {}, "the ball itself was not examined."),
        ("waiting", {"files": 2}, "So far we have looked at what you told us and the 2 files that came with it"),
    ],
)
def test_what_was_examined_is_said(state: str, more: dict[str, Any], said: str) -> None:
    """The findings in words, or that the ball was not examined."""
    assert said in text(letter(state, "in-term", **more))


@pytest.mark.parametrize(
    ("state", "more", "said"),
    [
        ("waiting", {"due_on": dt.date(2026, 6, 22)}, "Please send it to us by 2026-06-22, and name claim WC-1."),
        ("waiting", {}, "Please send it to us, and name claim WC-1."),
        ("sent-back", {"due_on": dt.date(2026, 7, 1)}, "Please send the ball to us by 2026-07-01, packed well"),
        ("reject", {}, "With this the claim is closed."),
        ("accept", {}, "We shall write to you about how the claim is settled."),
        ("accept", {"replacement": "P-2", "old_ball": "kept"}, "Ball P-2 takes its place, with a fresh warranty term"),
        ("accept", {"replacement": "P-2", "old_ball": "kept"}, "You may keep the old ball"),
        ("goodwill", {"replacement": "P-2", "fresh": False}, "with what remains of the term of the old one."),
    ],
)
def test_what_happens_next_is_said(state: str, more: dict[str, Any], said: str) -> None:
    """What to send by when, that it is closed, or which ball takes the place."""
    assert said in text(letter(state, "in-term", **more))


def test_goodwill_admits_nothing() -> None:
    """A gesture says that it does not speak of whose making the fault is; acceptance for a known fault names no lot."""
    assert "it does not say that the fault is of our making" in text(letter("goodwill", "known-fault"))
    assert "lot" not in text(letter("accept", "known-fault")).split()


def test_a_letter_without_number_or_address_still_stands() -> None:
    """It is about the claimant's ball, and goes to the claimant."""
    made = letter("waiting", "number-missing", number="", to=())
    assert ("Your claim WC-1: your ball", ("To the claimant",)) == (made.subject, made.to)
    assert "the number that is engraved on the ball" in text(made)
