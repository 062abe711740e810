"""Claims as a list: filters, what is due and overdue, pages."""

from __future__ import annotations

import pytest

from ledger.errors import MalformedRecord, NotFound
from tests.application.desk_stories import adopt_terms, decided, examined, listed
from tests.application.floor import HOUR_MS, START_MS, Floor, at, claimed


@pytest.fixture
def desk(ready: Floor) -> Floor:
    """Five claims: an open one, an examined one, one that waits, one sent back, one rejected; one ball of two is theirs."""
    ready.ball("U-1", "P-1")
    ready.say(claimed("C-1", 300, serial="P-1", market="us"))
    ready.say(claimed("C-2", 301, unit="U-1", mode="void"), examined("C-2", 320))
    ready.say(claimed("C-3", 302, serial="NOBODY"), decided("C-3", "need-more", "photo-missing", 330))
    ready.say(claimed("C-4", 303, serial="P-1"), decided("C-4", "send-back", "examine-at-maker", 340))
    ready.say(claimed("C-5", 304, unit="U-1"), examined("C-5", 350), decided("C-5", "reject", "misuse", 360))
    return ready


def names(desk: Floor, **asked: object) -> list[str]:
    """The claims of a list."""
    return [one.claim for one in listed(desk, **asked).claims]


def test_claims_come_oldest_first_with_their_facts(desk: Floor) -> None:
    """All of them, with what each is about and the addresses of its facts."""
    found = listed(desk)
    assert (["C-1", "C-2", "C-3", "C-4", "C-5"], None) == ([one.claim for one in found.claims], found.after)
    first, second = found.claims[:2]
    assert ("P-1", None, "crack-over-block", "open", "us", at(300)) == (
        first.serial, first.unit, first.mode, first.state, first.market, first.opened_at,
    )  # fmt: skip
    assert ("U-1", "examined", 2) == (second.unit, second.state, len(second.facts))


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({"state": "undecided"}, ["C-1", "C-2", "C-3", "C-4"]),
        ({"state": "reject"}, ["C-5"]),
        ({"state": "waiting"}, ["C-3"]),
        ({"mode": "void"}, ["C-2"]),
        ({"market": "us"}, ["C-1"]),
        ({"model": "M1"}, ["C-1", "C-2", "C-4", "C-5"]),
        ({"model": "M2"}, []),
        ({"since": "2026-10-04", "state": "undecided"}, ["C-1", "C-2", "C-3", "C-4"]),
        ({"since": "2026-10-05"}, []),
        ({"state": "undecided", "mode": "void", "model": "M1"}, ["C-2"]),
    ],
)
def test_each_filter_takes_what_it_says(desk: Floor, asked: dict[str, str], expected: list[str]) -> None:
    """State, undecided ones, failure mode, market, model by unit or by number, and day; together all must hold."""
    assert expected == names(desk, **asked)


def test_overdue_ones_are_told_with_their_days(desk: Floor) -> None:
    """From the day after the due day on; what is decided is never overdue."""
    desk.now_ms = START_MS + (302 + 24 * 14) * HOUR_MS
    assert [] == names(desk, overdue=True)
    desk.now_ms += 24 * HOUR_MS
    assert [("C-1", 1)] == [
        (one.claim, one.due.days_over) for one in listed(desk, overdue=True).claims if one.due is not None
    ]
    desk.now_ms = START_MS + 2_000 * HOUR_MS
    assert ["C-1", "C-2", "C-3", "C-4"] == names(desk, overdue=True)
    assert (["C-3"], []) == (names(desk, overdue=True, state="waiting"), names(desk, overdue=True, state="reject"))


def test_the_deadlines_are_those_of_the_terms_of_the_day(ready: Floor) -> None:
    """A plant that gives itself two days for a first answer is late on the third."""
    ready.now_ms = START_MS + 200 * HOUR_MS
    adopt_terms(ready, "format = 1\nterm = []\n[deadlines]\nfirst_answer = 2\n")
    ready.say(claimed("C-1", 199, serial="NOBODY"), claimed("C-2", 150, serial="NOBODY"))
    ready.now_ms = START_MS + 260 * HOUR_MS
    due = {one.claim: one.due for one in listed(ready).claims}
    assert ["2026-10-01", "2026-10-11"] == [str(due[claim].on) for claim in ("C-1", "C-2")]  # type: ignore[union-attr]  # both are open


def test_pages_follow_one_another(desk: Floor) -> None:
    """Each page names the claim to go on after; the last names none; pages together are the whole, overdue or not."""
    desk.now_ms = START_MS + 2_000 * HOUR_MS
    for overdue, whole in ((False, ["C-1", "C-2", "C-3", "C-4", "C-5"]), (True, ["C-1", "C-2", "C-3", "C-4"])):
        found, after = list[str](), None
        for _ in whole:
            page = listed(desk, overdue=overdue, after=after, limit=2)
            found += [one.claim for one in page.claims]
            after = page.after
            if after is None:
                break
        assert (whole, None) == (found, after)


def test_what_cannot_be_asked_for(desk: Floor) -> None:
    """A page after an unknown claim, and a day that no calendar has."""
    with pytest.raises(NotFound):
        listed(desk, after="C-9")
    with pytest.raises(MalformedRecord, match="since"):
        listed(desk, since="2026-02-30")
