"""The engraving page without scripts: a number is shown, engraved, read back, registered; what may not be is not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from ledger.line.lots import left_of
from ledger.line.rows import Unit
from ledger.store.reader import open_reader
from tests.pages.station_service import Floor, Hand, floor_running

PAGE = "/station/engraving"
LOT = f"{PAGE}?lot=SL-1"


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant where SL-1 was demoulded just now."""
    with floor_running(tmp_path) as one:
        one.pours()
        yield one


@pytest.fixture
def hand(floor: Floor) -> Iterator[Hand]:
    """Somebody at the engraving station, after the final cure."""
    one = Hand(floor)
    one.wait(25)
    yield one
    one.close()


def units(floor: Floor) -> list[Unit]:
    """The balls of SL-1."""
    with open_reader(floor.book.store) as reader:
        found: list[Unit] = reader.rows(Unit, "lot", "SL-1")
    return found


def shown(hand: Hand) -> str:
    """The number that the present page has in the engraving face."""
    found = re.search(r'id="number" data-serial="(\w+)"', hand.page.text)
    assert found
    return found[1]


def take(hand: Hand) -> str:
    """Open the lot, take numbers, and see the first."""
    hand.open(LOT)
    hand.carry(f"{PAGE}/numbers")
    return shown(hand)


def register(hand: Hand, **typed: str) -> httpx.Response:
    """Press "Engraved", then send the read-back; as a browser without scripts does."""
    serial = shown(hand)
    hand.open(f"{LOT}&engraved={serial}")
    return hand.send(PAGE, 1, **{"read": serial, **typed})


def queued(hand: Hand, **typed: str) -> httpx.Response:
    """The same as the queue of a browser sends it."""
    fields = {name: values[0] for name, values in hand.fields(PAGE, 1).items()}
    token = fields.pop("form_token")
    headers = {"x-queued": "1", "x-form-token": token, "accept": "application/json"}
    return hand.client.post(PAGE, data={**fields, **typed}, headers=headers)


def test_a_traveller_opens_its_lot(hand: Hand) -> None:
    """Its id, its address and a ball's own number lead to the lot; what is unknown is said on the page."""
    for scan in ("sl-1", "https://id.example.com/lot/SL-1", "https://id.example.com/01/09521234543213/10/SL-1"):
        page = hand.open(f"{PAGE}?scan={scan}")
        assert page.url.query == b"lot=SL-1"
    assert hand.open(f"{PAGE}?scan=NOTHING").status_code == 404
    assert "nothing in the book has this id" in hand.page.text


def test_a_ball_is_registered_in_four_steps_at_most(floor: Floor, hand: Hand) -> None:
    """After the scan: take numbers, "Engraved", the read-back; the ball stands, and its label is next."""
    serial = take(hand)
    answer = register(hand)
    (ball,) = units(floor)

    assert (serial, 15, "ENGRAVING", "SL-1") == (ball.serial, ball.weight_class, ball.engraved_by, ball.lot)
    assert 303 == answer.status_code
    assert answer.headers["location"].startswith(f"{PAGE}/label?unit=U-{serial}&count=1")
    label = hand.open(answer.headers["location"])
    assert f"/balls/U-{serial}/label.svg" in label.text
    assert "Caution" not in label.text


def test_the_next_ball_has_the_next_number(floor: Floor, hand: Hand) -> None:
    """No number is shown twice, and further ones are taken while there are some in hand."""
    numbers = [take(hand)]
    for _ in range(7):
        register(hand, labels="0")
        hand.open(LOT)
        numbers.append(shown(hand))
    assert len(numbers) == len(set(numbers))
    assert 7 == len(units(floor))
    assert "Engraved last" in hand.page.text
    row = floor.lot("SL-1")
    assert row is not None
    assert f'data-left-count="{left_of(row)}"' in hand.page.text


def test_another_number_read_back_registers_nothing(floor: Floor, hand: Hand) -> None:
    """Both are shown place by place, with a word and a form for the place that differs, and what was typed stays out."""
    serial = take(hand)
    wrong = serial[:-1] + ("2" if serial[-1] != "2" else "3")
    answer = register(hand, read=wrong.lower())

    assert 409 == answer.status_code
    assert f"Place 9: {serial[-1]} is shown, {wrong[-1]} was read." in answer.text
    assert answer.text.count("≠") == 1
    assert [] == units(floor)
    assert shown(hand) == serial
    assert 303 == hand.send(PAGE, 1, read=serial).status_code


def test_a_scanned_label_reads_back_too(floor: Floor, hand: Hand) -> None:
    """The address of the ball's own label gives its number; an address that is none is refused in words."""
    serial = take(hand)
    assert 400 == register(hand, read="https://id.example.com/nothing").status_code
    hand.open(LOT)
    assert 303 == register(hand, read=f"https://id.example.com/01/09521234543213/21/{serial}").status_code
    assert [serial] == [unit.serial for unit in units(floor)]


def test_what_the_plan_forbids_cannot_be_pressed(floor: Floor) -> None:
    """Before the cure is over the button is closed and the page says when; done all the same is recorded and held."""
    hand = Hand(floor)
    take(hand)
    assert re.search(r'<button type="submit" class="large" disabled>Engraved</button>', hand.page.text)
    assert "Not before" in hand.page.text
    assert "final-cure" in hand.page.text

    assert 422 == register(hand).status_code
    assert [] == units(floor)
    hand.open(f"{LOT}&engraved={shown(hand)}&way=done")
    assert 303 == hand.send(PAGE, 1, read=shown(hand)).status_code
    ball = floor.book.ball(units(floor)[0].unit)
    assert any(hold.open for hold in ball.holds)
    assert "final-cure" in hand.open(LOT).text
    hand.close()


def test_the_same_form_twice_enters_one_ball(floor: Floor, hand: Hand) -> None:
    """Back, reload and a second tap send the same key: the answer is the same entry."""
    take(hand)
    first = register(hand)
    again = hand.send(PAGE, 1, read=shown(hand))
    assert (303, first.headers["location"]) == (again.status_code, again.headers["location"])
    assert 1 == len(units(floor))


def test_two_stations_on_one_lot_have_numbers_of_their_own(floor: Floor, hand: Hand) -> None:
    """Two browsers under one account and one name of a station are never shown the same number."""
    other = Hand(floor)
    first, second = take(hand), take(other)
    assert first != second
    assert {303} == {register(one).status_code for one in (hand, other)}
    assert {first, second} == {unit.serial for unit in units(floor)}
    other.close()


def test_a_queue_is_answered_in_json(floor: Floor, hand: Hand) -> None:
    """It stands, it stands already, or it is refused with the reason; late from a queue it is not asked."""
    serial = take(hand)
    hand.open(f"{LOT}&engraved={serial}")
    said = queued(hand, read=serial, clock_error_s="1").json()
    assert (True, f"Ball {serial} is registered in lot SL-1.") == (said["ok"], said["said"])
    assert said == queued(hand, read=serial, clock_error_s="1").json()

    hand.open(f"{LOT}&engraved={shown(hand)}")
    refused = queued(hand, read="X")
    assert (409, False, "read") == (
        refused.status_code, refused.json()["ok"], refused.json()["problem"]["where"],
    )  # fmt: skip
    assert 1 == len(units(floor))


def test_a_queue_tells_late_what_was_done_too_early(floor: Floor) -> None:
    """What was tapped long ago was done: it is entered with its breach, and not asked about."""
    hand = Hand(floor)
    take(hand)
    at = floor.clock.text
    floor.clock.ms += 5 * 60_000
    hand.open(f"{LOT}&engraved={shown(hand)}")
    answer = queued(hand, read=shown(hand), at=at)
    assert answer.json()["ok"]
    assert "final-cure" in answer.json()["said"]
    hand.close()


def test_a_place_is_given_once(floor: Floor, hand: Hand) -> None:
    """Places count on where every ball has one; a second ball at one place is refused beside its field."""
    take(hand)
    register(hand, place="1", labels="0")
    hand.open(LOT)
    assert ["2"] == hand.fields(PAGE, 1)["place"]
    assert 409 == register(hand, place="1").status_code
    assert "Another ball of the lot has this place." in hand.page.text


def test_started_balls_are_chosen_by_their_tags(floor: Floor, hand: Hand) -> None:
    """A ball that went on the lathe under a tag gets its number under it."""
    floor.say({"kind": "unit-started", "unit": "T-7", "lot": "SL-1", "station": "W-1", "place": 7})
    serial = take(hand)
    assert "T-7" in hand.page.text
    assert "Spin test and marks, at finishing" in hand.page.text
    assert 303 == register(hand, unit="T-7").status_code
    assert [("T-7", serial, 7)] == [(unit.unit, unit.serial, unit.place) for unit in units(floor)]


def test_a_number_can_be_passed_over(hand: Hand) -> None:
    """It is not shown again while the page remembers; the next one is."""
    serial = take(hand)
    hand.open(f"{LOT}&passed={serial}")
    assert serial != shown(hand)


def test_an_inspector_may_look_and_not_engrave(floor: Floor) -> None:
    """The page says so and has no button; the book would refuse it too."""
    hand = Hand(floor, "Gauges")
    hand.wait(25)
    assert "may look at the engraving station" in hand.open(LOT).text
    assert {} == hand.fields(f"{PAGE}/numbers")
    hand.close()


def test_only_a_shell_lot_is_engraved_here(hand: Hand) -> None:
    """Another stage's traveller is refused as a page."""
    answer = hand.open(f"{PAGE}?lot=CL-1")
    assert 409 == answer.status_code
    assert "another stage" in answer.text


def test_labels_are_as_many_as_wanted(floor: Floor, hand: Hand) -> None:
    """Up to nine; a ball without a number has none."""
    serial = take(hand)
    register(hand)
    page = hand.open(f"{PAGE}/label?unit=U-{serial}&count=3")
    assert 3 == page.text.count('<img class="label"')
    assert 400 == hand.open(f"{PAGE}/label?unit=U-{serial}&count=99").status_code
    floor.say({"kind": "unit-started", "unit": "T-7", "lot": "SL-1", "station": "W-1"})
    assert "has no label yet" in hand.open(f"{PAGE}/label?unit=T-7").text


def test_here_tells_who_and_when(floor: Floor, hand: Hand) -> None:
    """The queue is told the account, its form token and the service's time; without a session it is refused as JSON."""
    said = hand.client.get("/station/here", headers={"x-queued": "1"}).json()
    assert (floor.clock.ms, floor.accounts["Line"].account) == (said["now_ms"], said["account"])
    assert said["form_token"]
    nobody = httpx.get(f"{floor.url}/station/here", headers={"x-queued": "1"})
    assert (401, "application/problem+json") == (nobody.status_code, nobody.headers["content-type"])


def test_the_worker_may_answer_for_the_stations(floor: Floor) -> None:
    """Its script is served with the scope that it may have, and the policy lets it be one."""
    answer = httpx.get(f"{floor.url}/static/stations-worker.js")
    assert ("/station", "text/javascript") == (
        answer.headers["service-worker-allowed"], answer.headers["content-type"].partition(";")[0],
    )  # fmt: skip
    assert "worker-src 'self'" in answer.headers["content-security-policy"]
