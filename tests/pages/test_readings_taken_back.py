"""A reading that was taken back stays on the page of its ball: what was read, and why it no longer stands."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ledger.application.ball_story import ReadingTaken, ball_story
from ledger.store.reader import open_reader
from tests.pages.station_service import Floor, Hand, floor_running
from tests.pages.test_ball_page import text_of

PAGE = "/station/inspection"


@pytest.fixture(scope="module")
def floor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Floor]:
    """A plant with a gauge of mass, and three engraved balls."""
    with floor_running(tmp_path_factory.mktemp("taken-back")) as one:
        one.say(
            {"kind": "gauge-registered", "gauge": "G-1", "quantity": "mass", "unit": "lb", "resolution": "0.01"},
            {"kind": "gauge-calibrated", "gauge": "G-1", "as_found_good": True, "due_at": "2029-01-01T00:00:00.000+00:00"},
        )  # fmt: skip
        one.pours()
        one.clock.ms += 25 * 3_600_000
        for number in (1, 2, 3):
            one.say({"kind": "ball-engraved", "unit": f"U-{number}", "lot": "SL-1", "serial": f"P-{number}",
                     "weight_class": 15, "station": "E-1", "scheme": "prior", "place": number})  # fmt: skip
        yield one


@pytest.fixture
def hand(floor: Floor) -> Iterator[Hand]:
    """An inspector."""
    one = Hand(floor, "Gauges")
    yield one
    one.close()


def read_then_undo(hand: Hand, unit: str) -> str:
    """Enter a reading of a ball, and open the page that takes it back; the form's entry."""
    hand.open(f"{PAGE}?unit={unit}")
    hand.carry(PAGE, 1, **{"value.mass": "16.20 lb", "gauge.mass": "G-1"})
    assert "The readings are entered." in hand.page.text
    address = hand.page.text.partition('href="/station/undo?')[2].partition('"')[0].replace("&amp;", "&")
    hand.open(f"/station/undo?{address}")
    return hand.fields("/station/undo")["entry"][0]


def taken(floor: Floor, unit: str) -> tuple[ReadingTaken, ...]:
    """Every reading of a ball, as its page tells them."""
    with open_reader(floor.book.store) as reader:
        return ball_story(reader, unit).taken


def test_the_page_of_the_ball_tells_it(floor: Floor, hand: Hand) -> None:
    """The value, that it was taken back, the reason and the correction; it stands no longer, and the page begins with it."""
    entry = read_then_undo(hand, "U-1")
    hand.carry("/station/undo", reason="wrong-ball")
    page = text_of(hand.open("/ball/U-1").text)

    (one,) = taken(floor, "U-1")
    assert ("withdrawn", "wrong-ball", ("16.20",), f"{entry}.0") == (one.became, one.reason, one.values, one.fact)
    assert int(one.taken_back.partition(".")[0]) > int(entry)
    assert "1 reading of this ball was taken back; no verdict rests on it." in page
    assert f"taken back: wrong ball by fact {one.taken_back}" in page
    assert "No reading stands." in page


def test_a_reason_of_other_needs_a_note(floor: Floor, hand: Hand) -> None:
    """Without one nothing is taken back, and the field says so; with one it is."""
    read_then_undo(hand, "U-2")
    answer = hand.send("/station/undo", reason="other")
    assert 400 == answer.status_code
    assert 'id="note-error"' in answer.text
    assert ["stands"] == [one.became for one in taken(floor, "U-2")]

    hand.carry("/station/undo", reason="other", note="The ball still had the pin's tape on it.")
    assert [("withdrawn", "other")] == [(one.became, one.reason) for one in taken(floor, "U-2")]


def test_reasons_are_those_of_readings(hand: Hand) -> None:
    """A reading is not offered the reasons of a step of the line, and the page says where it stays."""
    read_then_undo(hand, "U-3")
    assert 'value="wrong-gauge"' in hand.page.text
    assert 'value="not-done"' not in hand.page.text
    assert "stays on the page of its ball, with the reason" in hand.page.text


def test_an_address_alone_enters_no_readings(hand: Hand) -> None:
    """The page says that readings are entered only of an entry about this ball."""
    assert "The readings are entered." not in hand.open(f"{PAGE}?unit=U-3&done=3").text
    assert "Entered, as entry" not in hand.open("/station/shells?lot=SL-1&done=999999").text
