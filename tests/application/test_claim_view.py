"""One claim whole: facts, ball, links, files, what is due and what comes next."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from ledger.application.claim_letters import LetterAsked, send_letter
from ledger.errors import NotFound
from tests.application.desk_stories import decided, examined, letter, photo, replaced, seen, sent
from tests.application.floor import Floor, claimed, corrected


def test_a_claim_is_told_whole(ready: Floor) -> None:
    """Its facts in order with their addresses and words, its ball, what the claimant says, and its photo."""
    ready.ball("U-1", "P-1")
    ready.say(sent("SH-1", "U-1"))
    drilled = {"on": "2026-09-30", "layout": "four-inch-pin", "fitted": "plug", "by": "Bob"}
    more: dict[str, Any] = {
        "bought_on": "2026-09-29",
        "proof": "none",
        "stored": "vehicle",
        "market": "us",
        "claimant": "Ann",
    }
    first = ready.say(claimed("C-1", serial="P-1", drilled=drilled, evidence=[photo(ready)], **more))
    second = ready.say(examined("C-1"))
    third = ready.say(decided("C-1", "accept", "fault-found", rests_on=[second.addresses[0]]))
    view = seen(ready, "C-1")
    assert [first.addresses[0], second.addresses[0], third.addresses[0]] == [fact.fact for fact in view.facts]
    assert [
        "crack-over-block, bought on 2026-09-29, 1 file",
        "crack-at-block",
        "accept: a fault of the maker's was found on the ball",
    ] == [fact.says for fact in view.facts]
    assert second.addresses == view.facts[2].rests_on
    assert [("U-1", "P-1", "M1", 15)] == [(one.unit, one.serial, one.model, one.weight_class_lb) for one in view.balls]
    assert ("2026-09-29", "none", "2026-09-30", "four-inch-pin", "plug", "vehicle", "us") == (
        view.bought_on, view.proof, view.drilled_on, view.layout, view.fitted, view.stored, view.market,
    )  # fmt: skip
    assert ("accept", "accepted", "crack over the weight block", None) == (
        view.state,
        view.state_words,
        view.mode_words,
        view.due,
    )
    assert [("photo", "stored", first.addresses[0])] == [(one.what, one.file, one.fact) for one in view.evidence]
    assert "Ann" not in repr(view)
    assert "Bob" not in repr(view)


def test_what_may_be_done_next_goes_with_the_state(ready: Floor) -> None:
    """Examine and decide; once decided the letter and the replacement; then nothing is left."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    ready.say(claimed("C-1", serial="P-1"))
    steps = [[step.step for step in seen(ready, "C-1").next]]
    ready.say(examined("C-1"))
    ready.say(decided("C-1", "send-back", "examine-at-maker"))
    steps.append([step.step for step in seen(ready, "C-1").next])
    ready.say(decided("C-1", "accept", "fault-found", 325))
    steps.append([step.step for step in seen(ready, "C-1").next])
    letter(ready, "C-1")
    steps.append([step.step for step in seen(ready, "C-1").next])
    ready.say(replaced("C-1", "U-2"))
    steps.append([step.step for step in seen(ready, "C-1").next])
    assert [
        ["claim-examined", "claim-decided"],
        ["claim-examined", "claim-decided", "letter"],
        ["letter", "claim-replaced"],
        ["claim-replaced"],
        [],
    ] == steps


def test_a_replacement_is_linked_both_ways(ready: Floor) -> None:
    """The claim names the ball that took the place; a claim on that ball names the claim by which it came."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    ready.say(claimed("C-1", serial="P-1"), examined("C-1"), decided("C-1", "accept", "fault-found"))
    told = ready.say(replaced("C-1", "U-2", term="remaining"))
    ready.say(claimed("C-2", 340, unit="U-2"))
    first, second = seen(ready, "C-1"), seen(ready, "C-2")
    assert first.replacement is not None
    assert ("U-2", "P-2", "remaining", "kept", told.addresses[0]) == (
        first.replacement.unit, first.replacement.serial, first.replacement.term, first.replacement.old_ball,
        first.replacement.fact,
    )  # fmt: skip
    assert [("C-2", "later")] == [(one.claim, one.link) for one in first.replacement_claims]
    assert [("C-1", "replacement")] == [(one.claim, one.link) for one in second.linked]


def test_claims_on_one_ball_are_linked(ready: Floor) -> None:
    """For the same fault, for another, and a later one; by a number that two balls bear, as possible."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", 300, serial="P-1"), claimed("C-2", 301, unit="U-1", mode="void"))
    ready.say(claimed("C-3", 302, serial="P-1"), claimed("C-4", 303, serial="P-1"))
    ready.ball("U-2", "P-1", 80)
    assert [
        ("C-1", "same fault", "possible"),
        ("C-2", "same ball", "certain"),
        ("C-4", "later", "possible"),
    ] == [(one.claim, one.link, one.certainty) for one in seen(ready, "C-3").linked]
    assert ["U-1", "U-2"] == [ball.unit for ball in seen(ready, "C-3").balls]


def test_an_unknown_number_has_no_ball(ready: Floor) -> None:
    """A claim on a number that nobody bears is shown with its flag and no ball."""
    ready.say(claimed("C-1", serial="NOBODY"))
    view = seen(ready, "C-1")
    assert ((), ()) == (view.balls, view.linked)
    assert view.facts[0].breaches[0].startswith("claim-foreign-number: ")


def test_an_erased_photo_is_told_as_erased(ready: Floor) -> None:
    """Its digest stays, its bytes are gone, and the fact that erased it is named."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", serial="P-1", evidence=[photo(ready)]))
    (kept,) = seen(ready, "C-1").evidence
    gone = ready.say(
        {"kind": "blob-erasure", "at": "2026-10-20T00:00:00.000+00:00", "blobs": [kept.digest], "basis": "request",
         "reason": "asked-by-the-person"}
    )  # fmt: skip
    (now,) = seen(ready, "C-1").evidence
    assert ("erased", gone.addresses[0], kept.digest) == (now.file, now.erased_by, now.digest)


def test_a_withdrawn_fact_stays_in_the_history(ready: Floor) -> None:
    """A decision that was withdrawn is shown as fallen, without its words, and the claim stands as before it."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", serial="P-1"), examined("C-1"))
    wrong = ready.say(decided("C-1", "accept", "fault-found"))
    ready.say(corrected({"fact": wrong.addresses[0]}, hours=330))
    view = seen(ready, "C-1")
    assert ("examined", False, "") == (view.state, view.facts[2].standing, view.facts[2].says)


def test_what_is_due_follows_from_the_state(ready: Floor) -> None:
    """A first answer within 14 days of opening, a decision within 30 of the examination, unless a day is stated."""
    ready.ball("U-1", "P-1")
    opened_on = dt.date(2026, 10, 4)
    ready.say(claimed("C-1", serial="P-1"))
    due = [seen(ready, "C-1").due]
    ready.say(examined("C-1", 324))
    due.append(seen(ready, "C-1").due)
    ready.say(decided("C-1", "need-more", "photo-missing", 330, answer_by="2026-12-24"))
    due.append(seen(ready, "C-1").due)
    assert [
        ("first_answer", opened_on + dt.timedelta(days=14), False),
        ("decision", opened_on + dt.timedelta(days=31), False),
        ("request", dt.date(2026, 12, 24), True),
    ] == [(one.step, one.on, one.stated) for one in due if one is not None]


def test_a_claim_that_is_not_there(ready: Floor, tmp_path: Path) -> None:
    """Is not found, be it looked at or answered."""
    with pytest.raises(NotFound, match="claim C-9 is not in the book"):
        seen(ready, "C-9")
    with pytest.raises(NotFound):
        send_letter(ready.book, LetterAsked("C-9"), "k", ready.lead)
