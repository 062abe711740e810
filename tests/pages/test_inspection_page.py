"""The inspection page without scripts: what is missing, the verdict as it forms, and all readings as one record."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from ledger.conformity.rulebook import shipped_rulebooks
from ledger.line.inspections import Inspection
from ledger.line.reading_rows import Measured
from ledger.store.reader import open_reader
from tests.application.floor import GAUGES, GOOD, gauge_of
from tests.pages.station_service import WINDOWS, Floor, Hand, floor_running

PAGE = "/station/inspection"
VERDICT = f"{PAGE}/verdict"
PLAN = [
    *({"quantity": quantity, "every": "unit"} for quantity in ("mass", "hardness", "circumference")),
    {"quantity": "roughness", "every": "sample", "n": 5, "accept": 0, "reject": 1},
    {"quantity": "friction", "every": "model", "n": 3, "accept": 0},
]


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    """A plant with gauges and a rulebook, and two balls of SL-1 that nothing was read of."""
    with floor_running(tmp_path) as one:
        digest = shipped_rulebooks()["usbc-2026"].digest
        one.say({"kind": "rulebook-adopted", "rulebook": "usbc-2026", "digest": digest})
        one.say({"kind": "plan-set", "model": "M1", "windows": WINDOWS, "inspect": PLAN, "rulebooks": ["usbc-2026"]})
        for quantity, unit in GAUGES.items():
            gauge(one, gauge_of(quantity), quantity, unit)
        one.pours()
        one.clock.ms += 25 * 3_600_000
        for number in (1, 2):
            one.say({"kind": "ball-engraved", "unit": f"U-{number}", "lot": "SL-1", "serial": f"P-{number}",
                     "weight_class": 15, "station": "E-1", "scheme": "prior", "place": number})  # fmt: skip
        yield one


def gauge(floor: Floor, name: str, quantity: str, unit: str) -> None:
    """Register a gauge and calibrate it."""
    floor.say({"kind": "gauge-registered", "gauge": name, "quantity": quantity, "unit": unit, "resolution": "0.001"})
    floor.say({"kind": "gauge-calibrated", "gauge": name, "as_found_good": True,
               "due_at": "2029-01-01T00:00:00.000+00:00"})  # fmt: skip


@pytest.fixture
def hand(floor: Floor) -> Iterator[Hand]:
    """Somebody in the gauge room."""
    one = Hand(floor, "Gauges")
    yield one
    one.close()


def values(**readings: str) -> dict[str, str]:
    """The fields of readings."""
    return {f"value.{quantity}": text for quantity, text in readings.items()}


def measured(floor: Floor, unit: str = "U-1") -> Measured | None:
    """What stands of a ball."""
    with open_reader(floor.book.store) as reader:
        return reader.one(Measured, unit)


def inspections(floor: Floor, unit: str = "U-1") -> list[Any]:
    """The inspections of a ball, as they stand."""
    with open_reader(floor.book.store) as reader:
        return [fact.record for fact in reader.facts_about(f"unit:{unit}") if isinstance(fact.record, Inspection)]


def fragment(hand: Hand, **typed: str) -> httpx.Response:
    """The verdict alone, as a script asks for it."""
    fields = {name: said[0] for name, said in hand.fields(PAGE, 1).items()}
    headers = {"x-fragment": "1", "x-form-token": fields["form_token"]}
    return hand.client.post(VERDICT, data={**fields, **typed}, headers=headers)


def missing(page: httpx.Response) -> int:
    """How many readings the page says are missing."""
    found = re.search(r'data-missing="(\d+)"', page.text)
    assert found
    return int(found[1])


def test_a_ball_is_found_by_tag_number_or_label(hand: Hand) -> None:
    """Each leads to the ball; a traveller to the list of its lot; what is unknown is said."""
    for scan in ("u-1", "P-1", "https://id.example.com/01/09521234543213/21/P-1"):
        assert b"unit=U-1" == hand.open(f"{PAGE}?scan={scan}").url.query
    assert b"unit=U-1" == hand.open(f"{PAGE}?serial=P-1").url.query
    assert "2 balls lack readings." in hand.open(f"{PAGE}?scan=SL-1").text
    assert 404 == hand.open(f"{PAGE}?scan=NOTHING").status_code
    assert 404 == hand.open(f"{PAGE}?serial=NOTHING").status_code
    assert 404 == hand.open(f"{PAGE}?unit=NOTHING").status_code


def test_a_number_that_two_balls_bear_asks_which(floor: Floor, hand: Hand) -> None:
    """Both are listed with what tells them apart."""
    floor.say({"kind": "ball-engraved", "unit": "U-9", "lot": "SL-1", "serial": "P-1", "weight_class": 15,
               "station": "E-1", "scheme": "prior"})  # fmt: skip
    for address in (f"{PAGE}?scan=P-1", f"{PAGE}?serial=P-1"):
        page = hand.open(address).text
        assert "Several balls bear P-1" in page
        assert f"{PAGE}?unit=U-9" in page


def test_the_list_says_what_is_missing(hand: Hand) -> None:
    """What the plan asks of every ball is missing; a sample and a type test are named as such."""
    page = hand.open(f"{PAGE}?unit=U-1")
    assert 3 == missing(page)
    assert "a sample: 0 of 5 in this lot" in page.text
    assert "once for the model" in page.text
    assert "No gauge is registered for this." in page.text
    assert "Caution: inspection" in page.text


def test_the_verdict_forms_without_a_record(floor: Floor, hand: Hand) -> None:
    """Typed values are judged with margin; what is missing counts down; nothing is entered."""
    hand.open(f"{PAGE}?unit=U-1")
    page = fragment(hand, **values(mass="15.05 lb", hardness="HD 74.5"))
    assert 200 == page.status_code
    assert "<html" not in page.text
    assert 1 == missing(page)
    assert re.search(r'data-judged="hardness">\s*<p><span class="verdict conforms">', page.text)
    assert "margin 1.5 Shore D" in page.text
    assert measured(floor) is None

    soft = fragment(hand, **values(hardness="71.5"))
    assert re.search(r'data-judged="hardness">\s*<p><span class="verdict does_not_conform">', soft.text)


def test_without_scripts_judge_shows_the_same(floor: Floor, hand: Hand) -> None:
    """The page comes back with what was typed, the verdict in it, and nothing is entered."""
    hand.open(f"{PAGE}?unit=U-1")
    fields = {name: said[0] for name, said in hand.fields(PAGE, 1).items()}
    page = hand.client.post(VERDICT, data={**fields, **values(hardness="74.5")})
    assert 'value="74.5"' in page.text
    assert "margin 1.5 Shore D" in page.text
    assert measured(floor) is None


def test_all_readings_are_one_record(floor: Floor, hand: Hand) -> None:
    """Values, conditions, statistic and station stand as typed; the page then says what is still missing."""
    hand.open(f"{PAGE}?unit=U-1")
    answer = hand.send(
        PAGE, 1, temperature_c="21,5", surface="As Polished",
        **values(mass="15 lb 1 oz", hardness="74.5; 75.0; 74.0"), **{"stat.hardness": "median"},
    )  # fmt: skip
    assert 303 == answer.status_code
    (record,) = inspections(floor)
    readings = {one.quantity: one for one in record.readings}
    assert (("15.0625",), ("74.5", "75.0", "74.0")) == (readings["mass"].values, readings["hardness"].values)
    assert ("median", "21.5", "as-polished", "INSPECTION") == (
        readings["hardness"].statistic, record.temperature_c, record.surface, record.station,
    )  # fmt: skip
    page = hand.open(answer.headers["location"])
    assert "The readings are entered." in page.text
    assert 1 == missing(page)
    assert "read: 15.0625 lb with G-MASS" in page.text


def test_the_same_form_twice_enters_once(floor: Floor, hand: Hand) -> None:
    """A second tap gets the answer of the first."""
    hand.open(f"{PAGE}?unit=U-1")
    first, again = (hand.send(PAGE, 1, **values(hardness="74.5")) for _ in range(2))
    assert first.headers["location"] == again.headers["location"]
    assert 1 == len(inspections(floor))


def test_each_wrong_value_is_said_beside_its_field(floor: Floor, hand: Hand) -> None:
    """A weight that can be read two ways and a wrong unit are both named, the good one is judged, none is entered."""
    hand.open(f"{PAGE}?unit=U-1")
    typed = values(mass="15-3", circumference="26.85 mm", hardness="74.5")
    page = fragment(hand, **typed)
    assert {"value.mass", "value.circumference"} == set(re.findall(r'data-wrong="([^"]+)"', page.text))
    assert 'data-judged="hardness"' in page.text

    refused = hand.send(PAGE, 1, **typed)
    assert 400 == refused.status_code
    assert refused.text.count('aria-invalid="true"') == 2
    assert 'value="15-3"' in refused.text
    assert measured(floor) is None


def test_an_implausible_value_is_refused_before_it_is_entered(hand: Hand) -> None:
    """The verdict says why nothing could be judged; so does the page that would enter it."""
    hand.open(f"{PAGE}?unit=U-1")
    assert "not plausible" in fragment(hand, **values(hardness="745")).text
    assert 400 == hand.send(PAGE, 1, **values(hardness="745")).status_code
    assert 400 == hand.send(PAGE, 1).status_code


def test_only_gauges_that_may_be_used_are_offered_and_the_choice_is_kept(floor: Floor, hand: Hand) -> None:
    """Of two gauges one is chosen once; a faulty one is named with the reason and not offered."""
    gauge(floor, "G-HD-2", "hardness", "shore_d")
    gauge(floor, "G-HD-3", "hardness", "shore_d")
    floor.say({"kind": "gauge-faulted", "gauge": "G-HD-3", "reason": "dropped"})
    page = hand.open(f"{PAGE}?unit=U-1").text
    assert '<option value="G-HD-3"' not in page
    assert "G-HD-3 may not be used:" in page
    assert "no gauge is chosen" in fragment(hand, **values(hardness="74")).text

    hand.send(PAGE, 1, **values(hardness="74"), **{"gauge.hardness": "G-HD-2"})
    hand.open(f"{PAGE}?unit=U-2")
    assert ["G-HD-2"] == hand.fields(PAGE, 1)["gauge.hardness"]


def test_holds_stand_above_the_readings(floor: Floor, hand: Hand) -> None:
    """A hold on the lot is shown at each of its balls."""
    floor.say({"kind": "hold-placed", "hold": "H-1", "reason": "suspect", "node": "lot:SL-1"})
    assert "Hold H-1 stops:" in hand.open(f"{PAGE}?unit=U-1").text


def test_a_queue_is_answered_in_json(floor: Floor, hand: Hand) -> None:
    """What stands and what is refused is said in words, with the address to go on with."""
    hand.open(f"{PAGE}?unit=U-1")
    fields = {name: said[0] for name, said in hand.fields(PAGE, 1).items()}
    headers = {"x-queued": "1", "x-form-token": fields.pop("form_token"), "accept": "application/json"}
    said = hand.client.post(PAGE, data={**fields, **values(hardness="74")}, headers=headers).json()
    assert (True, "1 reading of ball U-1 is entered.") == (said["ok"], said["said"])
    wrong = hand.client.post(PAGE, data={**fields, "key": "other", **values(mass="15")}, headers=headers)
    assert (400, False) == (wrong.status_code, wrong.json()["ok"])
    assert measured(floor) is not None


def test_every_value_of_the_plan_is_what_the_book_judges(floor: Floor, hand: Hand) -> None:
    """With all of GOOD entered the verdict that was shown before is that of the ball's own answer."""
    hand.open(f"{PAGE}?unit=U-2")
    typed = values(**{quantity: f"{value} lb" if quantity == "mass" else value for quantity, value in GOOD.items()})
    before = re.findall(r'data-judged="(\w+)">\s*<p><span class="verdict (\w+)"', fragment(hand, **typed).text)
    hand.send(PAGE, 1, **typed)
    after = [
        (one.quantity, one.outcome)
        for by in floor.book.judged("U-2")
        for one in by.verdicts
        if one.outcome not in {"not_applicable", "not_measured"}
    ]
    assert list(dict.fromkeys(after)) == list(dict.fromkeys(before))
