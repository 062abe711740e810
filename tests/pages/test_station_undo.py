"""Taking back at a station what was said a moment ago: whose, for how long, and what it leaves in the book."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.line.lots import left_of
from tests.pages.station_service import Floor, Hand, floor_running

LOST = "/station/shells/lost"
PAGE = "/station/shells?lot=SL-1"


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant where SL-1 was demoulded just now."""
    with floor_running(tmp_path) as one:
        one.pours()
        yield one


@pytest.fixture
def hand(floor: Floor) -> Iterator[Hand]:
    """Somebody at the shells who has just recorded a loss of two."""
    one = Hand(floor)
    one.open(PAGE)
    one.carry(LOST, count="2", how="scrap", reason="crack")
    yield one
    one.close()


def left(floor: Floor) -> int:
    """What is left of SL-1."""
    row = floor.lot("SL-1")
    assert row is not None
    return left_of(row)


def undo_of(hand: Hand) -> str:
    """The address of the first undo that a page offers."""
    return hand.page.text.partition('href="/station/undo?')[2].partition('"')[0].replace("&amp;", "&")


def test_a_station_takes_back_what_it_said(floor: Floor, hand: Hand) -> None:
    """With a reason it is withdrawn, the counts are as before, and the page shows it as taken back; twice is once."""
    assert 18 == left(floor)
    hand.open(f"/station/undo?{undo_of(hand)}")
    assert "2 lost: scrap, crack" in hand.page.text
    body = {**hand.fields("/station/undo"), "reason": "wrong-count", "note": "it was one"}
    answers = [hand.client.post("/station/undo", data=body) for _ in range(2)]
    assert [303, 303] == [answer.status_code for answer in answers]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    page = hand.open(answers[0].headers["location"]).text
    assert (20, True) == (left(floor), "taken back" in page)
    history = floor.book.lot("SL-1").history
    assert ("pieces-lost", False) == (history[-1].kind, history[-1].standing)


def test_an_undo_needs_a_reason(floor: Floor, hand: Hand) -> None:
    """Without one nothing is taken back, and the page says so."""
    hand.open(f"/station/undo?{undo_of(hand)}")
    answer = hand.send("/station/undo")
    assert (400, 18) == (answer.status_code, left(floor))


def test_others_facts_old_ones_and_breaches_are_left_to_quality(floor: Floor, hand: Hand) -> None:
    """No undo is offered for them, and one that is sent all the same is refused with the reason."""
    mine = hand.fields("/station/undo") or {}
    hand.open(f"/station/undo?{undo_of(hand)}")
    mine = hand.fields("/station/undo")
    other = Hand(floor, "Gauges")
    assert "/station/undo?" not in other.open(PAGE).text
    token = other.fields(LOST)["form_token"][0]
    answer = other.client.post("/station/undo", data={**mine, "form_token": token, "reason": "not-done"})
    assert (403, 18) == (answer.status_code, left(floor))
    other.close()
    hand.wait(9)
    page = hand.open(PAGE).text
    assert ("/station/undo?" in page, "more than 8 hours ago" in page) == (False, True)
    hand.send("/station/shells/step", 1, way="done")
    page = hand.open(PAGE).text
    assert "for quality to dispose of" in page
    lead = Hand(floor, "Lead")
    assert 2 < lead.open(PAGE).text.count("/station/undo?")
    lead.close()


def test_what_something_was_said_of_since_is_left_to_quality(floor: Floor, hand: Hand) -> None:
    """A step before another is not taken back while the later one stands."""
    hand.carry("/station/shells/step", 0)
    hand.carry(LOST, count="1", how="scrap", reason="void")
    assert (2, True) == (hand.page.text.count("/station/undo?"), "was said of SL-1 since" in hand.page.text)


def test_a_lot_that_is_taken_back_is_gone(floor: Floor, hand: Hand) -> None:
    """A split entered by mistake is withdrawn, the pieces are back, and its page leads on without it."""
    hand.open(PAGE)
    hand.carry("/station/shells/split", into="SL-1-B", count="4")
    assert 14 == left(floor)
    hand.open(f"/station/undo?{undo_of(hand)}")
    answer = hand.send("/station/undo", reason="not-done")
    page = hand.open(answer.headers["location"])
    assert (18, None, 200) == (left(floor), floor.lot("SL-1-B"), page.status_code)


def test_an_entry_that_is_none_is_refused(hand: Hand) -> None:
    """A made-up entry gives a page that says so."""
    for entry in ("", "x", "-1", "99999", "1" * 30):
        assert hand.open(f"/station/undo?entry={entry}").status_code in {400, 404}, entry


def test_an_undo_leads_back_to_this_service_alone(hand: Hand) -> None:
    """Another host in the address of the way back is not taken."""
    page = hand.open(f"/station/undo?{undo_of(hand).partition('&')[0]}&back=https://evil.example/").text
    # Where the language is chosen, the whole address is named again, as a place of this service.
    assert "evil.example" not in page.partition("<footer")[0]
    assert [] == re.findall(r'(?:href|action)="[^"/]*//', page)


def test_an_engraving_that_is_taken_back_warns_of_its_labels(floor: Floor) -> None:
    """The book does not know which labels were printed, so the page names the number whose labels must go."""
    floor.clock.ms += 25 * 3_600_000
    with_numbers = Hand(floor)
    with_numbers.open("/station/engraving?lot=SL-1")
    with_numbers.carry("/station/engraving/numbers")
    serial = with_numbers.page.text.partition('data-serial="')[2].partition('"')[0]
    with_numbers.open(f"/station/engraving?lot=SL-1&engraved={serial}")
    with_numbers.carry("/station/engraving", 1, read=serial, labels="0")
    with_numbers.open(f"/station/undo?{undo_of(with_numbers)}")
    assert f"A label with {serial} may have been printed" in with_numbers.page.text
    with_numbers.close()
