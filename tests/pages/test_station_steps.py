"""What a station's page lets be done: steps that must wait, what was done all the same, refusals, one entry a key."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from ledger.application.devices import enrol_device, exchange_code
from ledger.book.instant import Instant, format_instant
from ledger.line.lots import left_of
from tests.pages.station_service import HOUR, MINUTE, Floor, Hand, floor_running

STEP = "/station/shells/step"
PINS = {"lot": "SL-1", "step": "pin-filled"}


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant where SL-1 was demoulded just now."""
    with floor_running(tmp_path) as one:
        one.pours()
        yield one


@pytest.fixture
def hand(floor: Floor) -> Iterator[Hand]:
    """Somebody at the shells."""
    one = Hand(floor)
    yield one
    one.close()


def steps_of(floor: Floor, lot: str = "SL-1") -> list[str]:
    """The steps that stand for a lot."""
    return [step.step for step in floor.book.lot(lot).steps]


def left(floor: Floor, lot: str) -> int:
    """What is left of a lot."""
    row = floor.lot(lot)
    assert row is not None
    return left_of(row)


def queued(hand: Hand, action: str, **fields: str) -> httpx.Response:
    """A form as the queue of a device sends it."""
    token = hand.fields(action)["form_token"][0]
    headers = {"x-queued": "1", "x-form-token": token, "accept": "application/json"}
    return hand.client.post(action, data=fields, headers=headers)


def test_a_step_that_must_wait_cannot_be_pressed(floor: Floor, hand: Hand) -> None:
    """Its button is closed, tied to the reason and the first instant at which it opens; then it is open."""
    page = hand.open("/station/shells?lot=SL-1").text
    assert 'disabled aria-disabled="true" aria-describedby="why-pin-filled"><span>pin filled</span></button>' in page
    assert 'id="why-pin-filled"' in page
    assert f'data-until="{floor.clock.ms + 24 * HOUR}"' in page
    assert "final-cure lasted 0 s, the plan asks for at least 24 h" in page
    assert "><span>locating hole drilled</span></button>" in page
    hand.wait(24)
    assert "disabled aria-disabled" not in hand.open("/station/shells?lot=SL-1").text


def test_a_form_that_is_sent_too_early_enters_nothing(floor: Floor, hand: Hand) -> None:
    """Whoever sends it all the same is told why not and when, at 422, with what was typed still in the form."""
    hand.open("/station/shells?lot=SL-1")
    answer = hand.send(STEP, 1, minutes="7")
    assert 422 == answer.status_code
    for words in (
        "Not now.",
        "final-cure",
        "Not before",
        'name="minutes" inputmode="numeric" pattern="[0-9]*" autocomplete="off" value="7"',
    ):
        assert words in answer.text
    assert [] == steps_of(floor)


def test_what_was_done_all_the_same_is_recorded_with_its_breach(floor: Floor, hand: Hand) -> None:
    """The second button enters it at the times typed in the plant's zone; the page shows the breach that it left."""
    floor.clock.ms += 50 * MINUTE
    hand.open("/station/shells?lot=SL-1")
    answer = hand.send(STEP, 1, way="done", began="2027-03-04T03:30", ended="2027-03-04T03:50")
    page = hand.open(answer.headers["location"]).text
    assert ["pin-filled"] == steps_of(floor)
    assert "final-cure lasted" in page.partition('class="done"')[2].partition("</div>")[0]
    (step,) = floor.book.lot("SL-1").steps
    assert ("2027-03-04T03:30:00.000+00:00", "2027-03-04T03:50:00.000+00:00") == (step.began_at, step.ended_at)
    assert floor.book.lot("SL-1").holds


def test_the_same_form_twice_enters_once(floor: Floor, hand: Hand) -> None:
    """By the back button, or both at the same time, a key enters one loss, though the clock went on between."""
    action = "/station/shells/lost"
    hand.open("/station/shells?lot=SL-1")
    body = {**hand.fields(action), "count": "2", "how": "scrap", "reason": "crack"}
    first = hand.client.post(action, data=body)
    floor.clock.ms += MINUTE
    assert first.headers["location"] == hand.client.post(action, data=body).headers["location"]
    assert 18 == left(floor, "SL-1")
    other = {**body, "count": "3"}
    refused = hand.client.post(action, data=other)
    assert (409, "key-reused") == (refused.status_code, "key-reused" if "key-reused" in refused.text else refused.text)
    body["key"] = "page-another"
    with ThreadPoolExecutor(4) as many:
        answers = list(many.map(lambda _: hand.client.post(action, data=body).headers["location"], range(4)))
    assert 1 == len(set(answers))
    assert 16 == left(floor, "SL-1")


def test_two_stations_draw_from_the_book_s_count(floor: Floor) -> None:
    """Two stations that take the same pieces see the book's count: the second is refused in words, and nothing is lost."""
    one, two = Hand(floor), Hand(floor, "Gauges")
    loss = {"how": "scrap", "reason": "void"}
    for hand in (one, two):
        hand.open("/station/shells?lot=SL-1")
    assert 303 == one.send("/station/shells/lost", count="15", **loss).status_code
    answer = two.send("/station/shells/lost", count="10", **loss)
    assert (422, True) == (answer.status_code, "10 lost from SL-1, 5 were left" in answer.text)
    assert 5 == left(floor, "SL-1")
    assert 303 == two.send("/station/shells/lost", count="10", way="done", **loss).status_code
    assert -5 == left(floor, "SL-1")
    for hand in (one, two):
        hand.close()


def test_a_lot_is_counted_changed_and_split(floor: Floor, hand: Hand) -> None:
    """A recount, a change in mid-lot and a split are entered; a split of more than there is is refused, and kept as typed."""
    hand.open("/station/shells?lot=SL-1")
    hand.send("/station/shells/recount", left="19", reason="missing")
    hand.send("/station/shells/change", what="mould-set", to="ms2", count="12")
    hand.send("/station/shells/split", into="sl-1-b", count="5")
    assert (14, 5) == (left(floor, "SL-1"), left(floor, "SL-1-B"))
    assert "mould set MS2" in hand.open("/station/shells?lot=SL-1").text
    answer = hand.send("/station/shells/split", into="SL-1-C", count="50")
    assert (422, "50", "SL-1-C") == (
        answer.status_code,
        hand.fields("/station/shells/split")["count"][0],
        hand.fields("/station/shells/split")["into"][0],
    )


def test_a_hold_says_in_words_what_it_stops(floor: Floor, hand: Hand) -> None:
    """Whoever stands at the lot reads words, and no codes with commas between."""
    held = {
        "kind": "hold-placed",
        "hold": "H-1",
        "reason": "soft-spots",
        "node": "lot:SL-1",
        "stops": ["release", "shipment"],
    }
    floor.say({**held, "at": floor.clock.text})
    assert "H-1 stops release, shipment, because of soft spots." in hand.open("/station/shells?lot=SL-1").text


WRONG: list[tuple[dict[str, str], int, str]] = [
    ({"count": "many"}, 400, "a whole number is needed here"),
    ({"count": "-1"}, 400, "a whole number is needed here"),
    ({"count": "1", "how": "gone"}, 400, "field is not as a record has it"),
    ({"count": "1", "lot": "SL-404"}, 422, "SL-404 is not in the book"),
    ({"count": "1", "key": "no key, this"}, 400, "form has no key"),
    ({"count": "1", "ended": "2027-02-30T10:00"}, 400, "no such time"),
    ({"count": "1", "at": "yesterday"}, 400, "no such time"),
    ({"count": "1", "note": "n" * 3_000}, 400, "field is not a short text"),
]


def test_what_cannot_be_entered_is_refused_as_a_page(hand: Hand) -> None:
    """Whatever a form says, the page comes back with the reason and what was typed."""
    for typed, status, words in WRONG:
        hand.open("/station/shells?lot=SL-1")
        answer = hand.send("/station/shells/lost", **{"how": "scrap", "reason": "crack", **typed})
        assert (status, True) == (answer.status_code, words in answer.text), typed


def test_the_queue_is_answered_in_json(floor: Floor, hand: Hand) -> None:
    """A queued form gets what was said and where to go; refused, the problem; without its token, the problem alone."""
    action = "/station/shells/step"
    hand.open("/station/shells?lot=SL-1")
    done = queued(hand, action, key="q-1", at=floor.clock.text, clock_error_s="2", lot="SL-1", step="hole-drilled")
    assert (200, True, None) == (done.status_code, done.json()["ok"], done.json()["problem"])
    assert "/station/shells?lot=SL-1&done=" in done.json()["next"]
    early = queued(hand, action, key="q-2", at=floor.clock.text, **PINS)
    assert (422, False, "refused") == (
        early.status_code,
        early.json()["ok"],
        early.json()["problem"]["code"].replace("rule-stands", "refused"),
    )
    stranger = httpx.post(floor.url + action, data={"key": "q-3"}, headers={"x-queued": "1"})
    assert (401, "application/problem+json") == (stranger.status_code, stranger.headers["content-type"])
    assert ["hole-drilled"] == steps_of(floor)


def test_what_waited_in_a_queue_is_recorded_as_done(floor: Floor, hand: Hand) -> None:
    """Nobody could be asked when it was tapped: what comes long after its tap is entered, and its breach is told."""
    tapped = format_instant(Instant(floor.clock.ms + 10 * MINUTE, 0))
    floor.clock.ms += 20 * MINUTE
    hand.open("/station/shells?lot=SL-1")
    late = queued(hand, STEP, key="q-9", at=tapped, **PINS)
    assert (200, True) == (late.status_code, "final-cure" in late.json()["said"])
    assert ["pin-filled"] == steps_of(floor)


def test_a_scan_leads_to_where_the_lot_is_worked_on(floor: Floor, hand: Hand) -> None:
    """A lot id, a traveller's address, a GS1 address and a ball's tag each open the right page; a stranger's is refused."""
    floor.say({"kind": "unit-started", "unit": "U-1", "lot": "SL-1", "station": "T1"})
    hand.wait(24)
    for scan, wanted in (
        ("bl-1", "/station/blocks?lot=BL-1"),
        ("BT-1", "/station/blocks?from=BT-1"),
        ("CL-1", "/station/cores?lot=CL-1"),
        ("https://id.example.com/lot/SL-1", "/station/shells?lot=SL-1"),
        ("/lot/sl-1", "/station/shells?lot=SL-1"),
        ("https://id.example.com/01/09521234543213/10/SL-1", "/station/shells?lot=SL-1"),
        ("U-1", "/station/shells?lot=SL-1&unit=U-1"),
    ):
        assert wanted == str(hand.client.get("/station", params={"scan": scan}).headers["location"])
    assert "/station/shells?from=CL-1" == hand.client.get("/station/shells?scan=CL-1").headers["location"]
    both = hand.client.get("/station/shells?scan=BT-1&from=CL-1").headers["location"]
    assert "/station/shells?from=CL-1&from=BT-1" == both
    for page in ("/station", "/station/cores"):
        answer = hand.client.get(page, params={"scan": "X-404"})
        assert (404, True) == (answer.status_code, 'value="X-404"' in answer.text)
    assert 400 == hand.client.get("/station", params={"scan": "https://elsewhere.example/about"}).status_code


def test_an_enrolled_device_goes_straight_to_its_stage(floor: Floor) -> None:
    """Its page opens, what it records names it, and its other pages can still be chosen."""
    store = floor.book.store
    made = enrol_device(store, floor.accounts["Line"].account, "Shell bench 2", "shells", floor.clock())
    cookie = exchange_code(store, made.code, floor.clock())
    client = httpx.Client(base_url=floor.url, cookies={"pourbook-device": cookie}, headers={"accept": "text/html"})
    assert "/station/shells" == client.get("/station").headers["location"]
    assert 200 == client.get("/station?choose=1").status_code
    assert "SHELL-BENCH-2" in client.get("/station/shells?lot=SL-1").text
    client.close()


def test_a_station_is_named_in_its_browser(floor: Floor, hand: Hand) -> None:
    """The name that is kept is the one that records bear."""
    hand.open("/station")
    hand.send("/station/name", station="Bench 7, south")
    hand.open("/station/shells?lot=SL-1")
    hand.send(STEP, 0)
    with floor.book.store.reading() as transaction:
        assert [("BENCH-7-SOUTH",)] == transaction.rows('SELECT "station" FROM "lot_step"')


def test_an_account_sees_the_acts_that_it_may_say(floor: Floor) -> None:
    """An inspector may record a loss and no pour; a form that it sends all the same is refused."""
    hand = Hand(floor, "Gauges")
    page = hand.open("/station/shells?lot=SL-1").text
    assert ("/station/shells/lost" in page, "/station/shells/split" in page) == (True, False)
    token = hand.fields("/station/shells/lost")["form_token"][0]
    answer = hand.client.post(STEP, data={"form_token": token, "key": "k-1", "lot": "SL-1", "step": "hole-drilled"})
    assert (403, []) == (answer.status_code, steps_of(floor))
    hand.close()


def test_every_message_of_a_page_is_said_in_german(floor: Floor, hand: Hand) -> None:
    """In another language the page's own words are of it, and what the book says is marked as English."""
    hand.client.cookies.set("pourbook-language", "de")
    page = hand.open("/station/shells?lot=SL-1").text
    assert '<html lang="de">' in page
    assert '<span lang="en">SL-1 pin-filled: final-cure lasted 0 s' in page
    assert "Noch" in page or "übrig" in page
