"""The answer for a claim: terms of its day, what is out of family, cases above the ball, and the proposal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import NotFound
from ledger.warranty.family_words import Compared
from tests.application.desk_stories import adopt_terms, answered, decided, examined, photo, replaced, sent
from tests.application.floor import (
    GOOD,
    START_MS,
    Floor,
    at,
    claimed,
    cores,
    engraved,
    inspected,
    shells,
    worked,
)


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant that tells everything at once: nothing is late."""
    made = Floor(tmp_path, punctual=True)
    yield made
    made.book.close()


def compared(floor: Floor, claim: str) -> dict[str, Compared]:
    """What was held against its like, by its name."""
    (ball,) = answered(floor, claim).answer.balls
    return {one.what: one for one in ball.compared}


def test_a_claim_is_answered_as_of_its_day(ready: Floor) -> None:
    """In term on the day of opening, whatever day it is now, with market and mode as the claim has them."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", serial="P-1", bought_on="2026-09-28", evidence=[photo(ready)]))
    answer = answered(ready, "C-1")
    (ball,) = answer.answer.balls
    assert ("C-1", "open", "crack over the weight block", dt.date(2026, 10, 4)) == (
        answer.claim, answer.state, answer.mode_words, answer.opened_on,
    )  # fmt: skip
    assert ("in term", dt.date(2027, 9, 28)) == (ball.term.outcome, ball.term.last_day)
    assert ("send-back", "examine-at-maker") == (answer.proposal.speaks_for, answer.proposal.reason)
    assert not any(reason.sort == "claim" for reason in ball.stands_out)


def test_the_terms_adopted_by_the_day_of_the_claim_count(floor: Floor) -> None:
    """A claim before the adoption goes by the defaults, one after it by the file, which the answer names."""
    floor.line()
    floor.ball("U-1", "P-1")
    floor.say(claimed("C-1", 100, serial="P-1", bought_on="2026-09-25"))
    floor.now_ms = START_MS + 200 * 3_600_000
    text = (
        'format = 1\n[[term]]\nmodel = "M1"\nmarket = "jp"\nstart = "manufacture"\nmonths = 3\nsource = "plant"\n'
        '[[term.exclusion]]\nmode = "engraving"\nwords = "worn numbers"\n'
    )
    entered = adopt_terms(floor, text)
    floor.say(claimed("C-2", 300, serial="P-1", bought_on="2026-09-25", market="jp", mode="void"))
    floor.say(claimed("C-3", 301, serial="P-1", market="jp", mode="engraving"))
    floor.say(claimed("C-4", 302, serial="P-1", bought_on="2026-09-25", market="us"))
    terms = {claim: answered(floor, claim).answer for claim in ("C-1", "C-2", "C-3", "C-4")}
    assert ["", *[entered.addresses[0]] * 3] == [answer.terms.fact for answer in terms.values()]
    assert {64} == {len(answer.terms.digest) for claim, answer in terms.items() if claim != "C-1"}
    assert ["in term", "in term", "excluded", "in term"] == [one.balls[0].term.outcome for one in terms.values()]
    assert dt.date(2026, 12, 24) == terms["C-2"].balls[0].term.last_day
    assert terms["C-4"].balls[0].rule.startswith("12 months from purchase")


def test_a_term_from_shipment_runs_from_the_last_time_it_left(floor: Floor) -> None:
    """A ball that came back and left again is in term from the second time; one that never left cannot be told."""
    adopt_terms(floor, 'format = 1\n[[term]]\nstart = "shipment"\nmonths = 1\nsource = "plant"\n')
    floor.line()
    floor.ball("U-1", "P-1")
    floor.ball("U-2", "P-2")
    floor.say(sent("SH-1", "U-1", hours=100))
    floor.say({"kind": "returned", "at": at(150), "unit": "U-1", "reason": "not-sold"})
    floor.say(sent("SH-2", "U-1", hours=400))
    floor.say(claimed("C-1", 1_000, unit="U-1"), claimed("C-2", 1_001, unit="U-2"))
    (first,), (second,) = (answered(floor, claim).answer.balls for claim in ("C-1", "C-2"))
    assert (dt.date(2026, 11, 8), "in term") == (first.term.last_day, first.term.outcome)
    assert ("cannot tell", "the date of shipment is not known") == (second.term.outcome, second.term.reasons[0])


def family(floor: Floor, count: int, **last: str) -> None:
    """So many balls of one lot that read nearly alike, the last one with other readings."""
    floor.line(count)
    for number in range(1, count + 1):
        near = {"hardness": f"{74 + number % 5 / 10}", "mass": f"{15 + number % 7 / 100}"}
        readings: dict[str, Any] = {**GOOD, **near, **(last if number == count else {})}
        floor.say(engraved(f"U-{number}", f"P-{number}"), inspected(f"U-{number}", **readings))


def test_a_reading_out_of_family_stands_out(floor: Floor) -> None:
    """With its fact, the family's median and who the others are; what reads alike has no spread, and is no reason."""
    family(floor, 32, hardness="71")
    told = floor.say(claimed("C-1", serial="P-32"))
    hardness = compared(floor, "C-1")["hardness"]
    assert ("out of family", 31, "unit:U-32") == (hardness.outcome, hardness.others, hardness.about)
    assert hardness.said.startswith("hardness 71 Shore D lies ")
    assert "31 others of model M1 at 15 lb, of 1 shell lots begun from 2026-09-23 to 2026-09-23" in hardness.said
    (entry,) = {fact.split(".")[0] for fact in hardness.facts}
    assert int(entry) == told.index - 1
    (reason,) = [one for one in answered(floor, "C-1").answer.balls[0].stands_out if one.sort == "out of family"]
    assert reason.facts == hardness.facts
    assert "in family" == compared(floor, "C-1")["weight"].outcome
    assert "in family" == compared(floor, "C-1")["circumference"].outcome


def test_with_too_few_others_nothing_is_said(floor: Floor) -> None:
    """29 others are not enough, however far the reading lies."""
    family(floor, 30, hardness="71")
    floor.say(claimed("C-1", serial="P-30"))
    assert ("too few", 29) == (compared(floor, "C-1")["hardness"].outcome, compared(floor, "C-1")["hardness"].others)


def test_a_cure_out_of_family_stands_out_with_its_lot(floor: Floor) -> None:
    """The rests and cures of some thirty lots of the model are the family of that of the claimed ball's lot."""
    floor.stock(70)
    for number in range(1, 33):
        odd = 9 if number == 32 else number % 3
        begun = 30 + number + odd
        floor.say(cores(f"CL-{number}", 30 + number, ("BL-1", 2)))
        floor.say(shells(f"SL-{number}", begun + 6, (f"CL-{number}", 2)))
        floor.say(worked(f"SL-{number}", "turned", begun + 40))
    floor.ball("U-1", "P-1", 140, lot="SL-32")
    floor.say(claimed("C-1", serial="P-1"))
    found = compared(floor, "C-1")
    assert ("out of family", "lot:CL-32", 31) == (
        found["core-rest"].outcome, found["core-rest"].about, found["core-rest"].others,
    )  # fmt: skip
    assert "in family" == found["final-cure"].outcome
    assert {"shell-demould", "core-demould", "core-rest", "final-cure", "block-rest", "block-demould"} <= set(found)


def test_open_cases_above_a_ball_stand_out(ready: Floor) -> None:
    """A case on its core lot and one on its number, with the fact that opened it; another lot's says nothing."""
    ready.ball("U-1", "P-1")
    told = ready.say(
        case("CS-1", {"sort": "core-lot", "name": "CL-1"}),
        case("CS-2", {"sort": "serials", "serial_prefix": "P-"}),
        case("CS-3", {"sort": "serials", "serial_prefix": "Q-"}),
        case("CS-4", {"sort": "gauge", "name": "G-MASS"}),
    )
    ready.say(claimed("C-1", 320, serial="P-1", bought_on="2026-09-28"), examined("C-1", 321))
    answer = answered(ready, "C-1")
    cases = {one.about: one.facts for one in answer.answer.balls[0].stands_out if one.sort == "case open"}
    assert {"lot:CL-1": (told.addresses[0],), "unit:U-1": (told.addresses[3],)} == cases
    said = [one.said for one in answer.answer.balls[0].stands_out if one.sort == "case open"]
    assert "a case is open: CS-1 (found) on core-lot CL-1, cracks" in said
    assert ("accept", "known-fault") == (answer.proposal.speaks_for, answer.proposal.reason)


def case(name: str, suspect: dict[str, str]) -> dict[str, Any]:
    """A case that a person opened."""
    return {"kind": "case-opened", "at": at(310), "case": name, "why": "found", "reason": "cracks", "suspect": suspect}


def test_a_replacement_carries_on_the_term_of_the_old_ball(ready: Floor) -> None:
    """The remaining term of the first ball of a chain; a fresh one from the day of replacing."""
    for number in (1, 2, 3):
        ready.ball(f"U-{number}", f"P-{number}")
    ready.say(claimed("C-1", serial="P-1", bought_on="2026-09-28"), examined("C-1"))
    ready.say(decided("C-1", "accept", "fault-found"), replaced("C-1", "U-2", term="remaining"))
    ready.say(claimed("C-2", 340, serial="P-2", bought_on="2026-10-05"), examined("C-2", 341))
    ready.say(decided("C-2", "accept", "fault-found", 342), replaced("C-2", "U-3", 343, term="remaining"))
    ready.say(claimed("C-3", 350, unit="U-3"))
    (ball,) = answered(ready, "C-3").answer.balls
    assert ("in term", dt.date(2027, 9, 28)) == (ball.term.outcome, ball.term.last_day)
    assert "it came as a replacement under claim C-2, with what remained of the term of P-1" == ball.term.reasons[0]
    assert "it came as the replacement under claim C-2 (crack-over-block): accept" in [
        one.said for one in ball.stands_out
    ]


def test_a_fresh_replacement_has_a_term_of_its_own(ready: Floor) -> None:
    """From the day on which it was given."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    ready.say(claimed("C-1", serial="P-1", bought_on="2026-09-28"), examined("C-1"))
    ready.say(decided("C-1", "accept", "fault-found"), replaced("C-1", "U-2"))
    ready.say(claimed("C-2", 350, unit="U-2"))
    (ball,) = answered(ready, "C-2").answer.balls
    assert ("in term", dt.date(2027, 10, 5)) == (ball.term.outcome, ball.term.last_day)


def test_a_claim_without_a_ball_asks_for_the_number(ready: Floor) -> None:
    """Unknown numbers and claims that name nothing speak for asking."""
    ready.say(claimed("C-1", serial="NOBODY"), claimed("C-2"))
    for claim in ("C-1", "C-2"):
        answer = answered(ready, claim)
        assert ("unknown", "need-more") == (answer.answer.standing, answer.proposal.speaks_for)


def test_an_own_failure_mode_is_told_in_its_words(ready: Floor) -> None:
    """The plant's words for its own mode; an unknown claim is not found."""
    ready.say({"kind": "failure-mode-added", "at": at(200), "mode": "logo-peels", "words": "the logo peels"})
    ready.say(claimed("C-1", mode="logo-peels"))
    assert "the logo peels" == answered(ready, "C-1").mode_words
    with pytest.raises(NotFound):
        answered(ready, "C-9")
