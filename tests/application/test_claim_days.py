"""The days of a claim are those of the place in which it was taken, and not of Greenwich."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from ledger.book.instant import Instant, format_instant, instant_ms
from tests.application.desk_stories import answered, decided, examined, letter, listed, photo, replaced, seen, sent
from tests.application.floor import Floor, claimed
from tests.application.test_claim_letters import text_of

EAST = 600
"""Minutes ahead of UTC."""


def local(day: str, clock: str, offset: int = EAST) -> str:
    """An instant as it is told at a place."""
    sign, hours = ("+", offset) if offset >= 0 else ("-", -offset)
    return f"{day}T{clock}:00.000{sign}{hours // 60:02d}:{hours % 60:02d}"


@pytest.fixture
def desk(ready: Floor) -> Floor:
    """P-1 left long ago; it is the evening of 30 Oct 2026 in UTC."""
    ready.ball("U-1", "P-1")
    ready.ball("U-2", "P-2")
    ready.say(sent("SH-1", "U-1"))
    return ready


def test_the_last_day_of_a_term_lasts_until_midnight_where_the_claim_is_taken(desk: Floor) -> None:
    """West of Greenwich the evening of the last day is still in term, though UTC has the next day."""
    desk.now_ms = instant_ms("2027-09-30T12:00:00.000+00:00")
    who: dict[str, Any] = {"serial": "P-1", "bought_on": "2026-09-29"}
    desk.say(claimed("C-1", **who) | {"at": local("2027-09-29", "20:00", -360)})
    answer = answered(desk, "C-1")
    assert (dt.date(2027, 9, 29), "in term") == (answer.opened_on, answer.answer.balls[0].term.outcome)


def test_a_claim_is_overdue_from_the_midnight_of_its_place(desk: Floor) -> None:
    """The due day is counted from the day on which it was taken there, and over when that place has the next day."""
    desk.now_ms = instant_ms("2026-11-02T00:00:00.000+00:00")
    desk.say(claimed("C-1", serial="P-1") | {"at": local("2026-11-01", "05:00")})
    due = seen(desk, "C-1").due
    assert due is not None
    assert dt.date(2026, 11, 15) == due.on
    over = []
    for clock in (local("2026-11-15", "23:59"), local("2026-11-16", "00:00")):
        desk.now_ms = instant_ms(clock)
        over.append([claim.claim for claim in listed(desk, overdue=True).claims])
    assert [[], ["C-1"]] == over


def test_letters_and_replacements_have_the_day_of_the_place(desk: Floor) -> None:
    """As the claimant has it in his calendar."""
    desk.now_ms = instant_ms(local("2026-11-01", "09:00"))
    desk.say(claimed("C-1", serial="P-1", evidence=[photo(desk)]) | {"at": local("2026-11-01", "05:00")})
    desk.say(examined("C-1") | {"at": local("2026-11-01", "06:00")})
    desk.say(decided("C-1", "accept", "fault-found") | {"at": local("2026-11-01", "07:00")})
    desk.say(replaced("C-1", "U-2") | {"at": local("2026-11-01", "08:00")})
    view = seen(desk, "C-1")
    assert view.replacement is not None
    assert "2026-11-01" == view.replacement.on
    text, _ = text_of(desk, letter(desk, "C-1")[0].letter)
    assert "On 2026-11-01 we took your claim" in text
    assert 2 == text.count("2026-11-01")
    desk.now_ms += 86_400_000
    desk.say(claimed("C-2", serial="P-2") | {"at": format_instant(Instant(desk.now_ms, EAST))})
    (ball,) = answered(desk, "C-2").answer.balls
    assert "it came as a replacement under claim C-1 on 2026-11-01, with a fresh term" == ball.term.reasons[0]
