"""The page of a ball: its figures are the application's, roles see what their JSON routes give, decisions are entered once."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from html import unescape

import pytest

from ledger.store.reader import open_reader
from tests.api.running import GTIN, STEM, Service
from tests.pages.forms_sent import Browser
from tests.pages.plant_pages import MIXED, plant, signed_in
from tests.plant import AT

BALL = "/ball/U-000001"
HELD: dict[str, str | list[str]] = {"reason": "Cracks over block!", "confirm": "yes", "stops": ["release", "shipment"]}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running plant."""
    with plant(tmp_path_factory.mktemp("ball"), "station", "quality", "desk", "auditor", "admin") as one:
        yield one


@pytest.fixture
def quality(service: Service) -> Iterator[Browser]:
    """A browser where a quality lead is signed in."""
    browser = signed_in(service, "quality")
    yield browser
    browser.close()


def words(browser: Browser, address: str) -> str:
    """The text of a page on one line."""
    return text_of(browser.open(address).text)


def text_of(page: str) -> str:
    """What a page says, without its marks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_a_number_leads_to_its_ball(quality: Browser) -> None:
    """By serial, by unit, by the address of its label; a traveller's address leads to the lot."""
    for typed, expected in (
        ("P000001", BALL), ("U-000001", BALL), ("u-000001", BALL), (f"{STEM}/01/{GTIN}/21/P000001", BALL),
        (f"{STEM}/01/{GTIN}/10/SL-1", "/lot/SL-1"), ("SL-1", "/lot/SL-1"),
    ):  # fmt: skip
        answer = quality.client.get("/ball", params={"q": typed})
        assert (303, expected) == (answer.status_code, answer.headers.get("location")), typed


def test_a_number_that_cannot_be_read_is_the_desks(service: Service, quality: Browser) -> None:
    """A question mark leads to the desk's search for whoever may use it, and says who may to others."""
    assert "/desk?q=P00000%3F" in quality.open("/ball?q=P00000%3F").text
    station = signed_in(service, "station")
    assert "/desk" not in station.open("/ball?q=P00000%3F").text
    station.close()


def test_an_unknown_number_says_so(quality: Browser) -> None:
    """No ball is a page with words; an address that is no label is a refusal in the form."""
    assert "No ball bears or bore P404404" in words(quality, "/ball?q=P404404")
    answer = quality.client.get("/ball", params={"q": "https://x.example/01/123/21/A"})
    assert (400, True) == (answer.status_code, 'aria-invalid="true"' in answer.text)


def test_several_balls_of_one_number_are_told_apart(service: Service, quality: Browser) -> None:
    """An earlier scheme repeats numbers: both balls are listed with unit, model, class and day."""
    again = {
        "kind": "ball-engraved", "at": AT, "unit": "U-000777", "lot": "SL-1", "serial": "P000002", "weight_class": 14,
        "station": "E1", "scheme": "prior",
    }  # fmt: skip
    assert 201 == service.say("station", again).status_code
    page = words(quality, "/ball?q=P000002")
    assert "2 balls bear or bore this number" in page
    for found in service.book.find("P000002"):
        assert found.unit in page
        assert f"{found.weight_class_lb} lb" in page


def test_every_figure_is_the_applications(service: Service, quality: Browser) -> None:
    """Identity, readings, steps and lots are those of ``GET /balls/{unit}``."""
    page, ball = words(quality, BALL), service.book.ball("U-000001")
    for said in (ball.serial, ball.unit, ball.gtin, ball.lot, f"{ball.weight_class_lb} lb", ball.caution):
        assert str(said) in page
    for reading in ball.readings:
        for figure in (reading.value, reading.standard_uncertainty, reading.gauge, reading.fact):
            assert figure in page
    for told in ball.history:
        assert told.fact in page
    for lot in ball.materials:
        assert lot.lot in page


def test_verdicts_as_a_file_are_those_of_the_application(service: Service, quality: Browser) -> None:
    """A line for each requirement of each rulebook, with outcome, value, U, limit and margin."""
    lines = list(csv.DictReader(io.StringIO(quality.open(f"{BALL}/verdicts.csv").text)))
    expected = [
        (by.rulebook, verdict.requirement, verdict.outcome, verdict.value or "", verdict.margin or "")
        for by in service.book.judged("U-000001")
        for verdict in by.verdicts
    ]
    assert expected == [
        (line["rulebook"], line["requirement"], line["outcome"], line["value"], line["margin"]) for line in lines
    ]


def test_what_is_possible_is_in_picture_and_words(quality: Browser) -> None:
    """A ball of two core lots has each as possible: a dashed line and box, and the word; what it surely has is solid."""
    page = quality.open("/ball/U-000009").text
    assert 'class="line possible"' in page
    assert 'class="line certain"' in page
    assert re.search(r'<a href="/lot/CL-2" aria-label="CL-2, [^"]*possible" class="lot possible">', page)
    assert re.search(r'<a href="/lot/BT-1" aria-label="BT-1, [^"]*certain" class="lot certain">', page)
    assert f'href="/lot/{MIXED}"' in page
    only_certain = quality.open(BALL).text
    assert 'class="line possible"' not in only_certain


def test_readings_that_were_replaced_are_told(service: Service, quality: Browser) -> None:
    """Both readings of a quantity are listed; the later one stands, and rework voids what it can have changed."""
    again = {
        "kind": "inspection", "at": "2026-03-02T09:00:00.000+00:00", "unit": "U-000003", "station": "E1",
        "readings": [{"quantity": "mass", "unit": "lb", "values": ["15.07"], "gauge": "G1"}], "humidity_percent": "45",
    }  # fmt: skip
    assert 201 == service.say("inspector", again).status_code
    page = words(quality, "/ball/U-000003")
    assert "15.05 lb" in page
    assert "replaced by a later reading" in page
    assert "45 % rel. humidity" in page
    german = text_of(quality.open("/ball/U-000003", **{"accept-language": "de"}).text)
    assert "45 % rel. Feuchte" in german
    assert "durch eine spätere Messung ersetzt" in german
    rework = {
        "kind": "rework", "at": "2026-03-02T10:00:00.000+00:00", "unit": "U-000003", "operation": "resurface",
        "station": "F1",
    }  # fmt: skip
    assert 201 == service.say("quality", rework).status_code
    page = words(quality, "/ball/U-000003")
    assert "voided by later work on the ball" in page
    assert "No reading stands." in page


def test_a_hold_is_placed_and_lifted_once(service: Service, quality: Browser) -> None:
    """A form says its record once, however often it is sent; the reason in words becomes one of the book's."""
    quality.open(BALL)
    first = quality.send(f"{BALL}/hold", **HELD)
    assert 303 == first.status_code
    assert quality.send(f"{BALL}/hold", **HELD).headers["location"] == first.headers["location"]
    holds = [hold for hold in service.book.ball("U-000001").holds if hold.open]
    assert [("cracks-over-block", "release,shipment", "unit:U-000001")] == [
        (hold.reason, hold.stops, hold.node) for hold in holds
    ]
    page = words(quality, first.headers["location"])
    assert "It is entered." in page
    assert "1 open hold stands over this ball" in page
    lifted = quality.send(f"{BALL}/lift", hold=holds[0].hold, reason="looked at", confirm="yes")
    assert 303 == lifted.status_code
    assert [] == [hold for hold in service.book.ball("U-000001").holds if hold.open]


def test_a_recall_takes_two_people(service: Service, quality: Browser) -> None:
    """The first lift leaves it open and the page says how many have lifted; the same person is refused in words."""
    quality.open("/ball/U-000002")
    assert 303 == quality.send("/ball/U-000002/hold", **HELD, recall="yes").status_code
    hold = next(hold.hold for hold in service.book.ball("U-000002").holds if hold.open)
    quality.open("/ball/U-000002")
    assert 303 == quality.send("/ball/U-000002/lift", hold=hold, reason="looked at", confirm="yes").status_code
    assert "1 has lifted it" in words(quality, "/ball/U-000002")
    answer = quality.send("/ball/U-000002/lift", hold=hold, reason="looked again", confirm="yes")
    assert 422 == answer.status_code
    assert f"recall hold {hold} takes two people to lift" in text_of(answer.text)
    assert 'value="looked again"' in answer.text


def test_a_refusal_names_what_stands_in_the_way(quality: Browser) -> None:
    """A release under a hold, a form that was not confirmed, and one without a reason enter nothing and say why."""
    quality.open("/ball/U-000002")
    answer = quality.send("/ball/U-000002/release", grade="second", confirm="yes")
    assert (422, True) == (answer.status_code, "What mends it:" in text_of(answer.text))
    for fields, said in (({"reason": "x"}, "form was not confirmed"), ({"confirm": "yes", "reason": "!!"}, "reason")):
        quality.open(BALL)
        answer = quality.send(f"{BALL}/scrap", how="scrap", **fields)
        assert (400, True) == (answer.status_code, said in text_of(answer.text))


def test_a_ball_is_released_reworked_and_scrapped(service: Service, quality: Browser) -> None:
    """Each decision of the page is the record that the book has."""
    address = "/ball/U-000009"
    quality.open(address)
    assert 303 == quality.send(f"{address}/release", grade="prototype", confirm="yes").status_code
    assert "prototype" == service.book.ball("U-000009").grade
    quality.open(address)
    assert 303 == quality.send(f"{address}/rework", operation="polish", station="fin-1", confirm="yes").status_code
    assert "reworked" == service.book.ball("U-000009").state
    quality.open(address)
    assert 303 == quality.send(f"{address}/scrap", how="retained", reason="for display", confirm="yes").status_code
    assert "retained" == service.book.ball("U-000009").state


@pytest.mark.parametrize(
    ("role", "acts", "sees"),
    [
        ("station", {"hold"}, set()), ("quality", {"hold", "lift", "release", "rework", "scrap"}, {"entries"}),
        ("desk", set(), set()), ("auditor", set(), {"entries"}), ("admin", set(), {"entries"}),
    ],
)  # fmt: skip
def test_roles_see_no_more_than_their_routes_give(service: Service, role: str, acts: set[str], sees: set[str]) -> None:
    """Forms are those that the role may say; whole entries are offered to those who may read them."""
    browser = signed_in(service, role)
    page = browser.open("/ball/U-000777" if service.book.find("U-000777") else BALL).text
    assert acts == set(re.findall(r'action="/ball/[^/"]+/(hold|release|rework|scrap)"', page)) | (acts & {"lift"})
    assert ("entries" in sees) == ("/bytes" in page) == ("/book/entry/" in page)
    form = {"grade": "first", "confirm": "yes", "key": f"forged-{role}", "form_token": form_token(browser)}
    assert (403 if role != "quality" else 422) == browser.client.post(f"{BALL}/release", data=form).status_code
    browser.close()


def form_token(browser: Browser) -> str:
    """The token that the forms of the present page carry."""
    return next(value for form in browser.found().forms.values() for name, value in form if name == "form_token")


def test_a_consignee_is_shown_to_whom_cases_are(service: Service, quality: Browser) -> None:
    """Whom a ball went to stands on the page for the desk, quality and auditors, and for nobody else."""
    sent = {
        "kind": "shipment", "at": "2026-03-02T12:00:00.000+00:00", "shipment": "SH-1", "units": ["U-000003"],
        "consignee": "A shop of no name", "purpose": "test",
    }  # fmt: skip
    assert 201 == service.say("station", sent).status_code
    assert "A shop of no name" in words(quality, "/ball/U-000003")
    station = signed_in(service, "station")
    page = words(station, "/ball/U-000003")
    assert ("SH-1" in page, "A shop of no name" in page) == (True, False)
    station.close()


def test_the_receipt_on_the_page_is_the_entrys(service: Service, quality: Browser) -> None:
    """Receipt, hash and key are those that anyone can ask for; the entry is the one that engraved the ball."""
    page = quality.open(BALL).text
    index = int(re.search(r'data-entry="/entries/(\d+)/bytes"', page)[1])  # type: ignore[index]  # or the test fails
    with open_reader(service.book.store) as reader:
        assert reader.entry(index).hash.hex() in page
    assert "ball-engraved" in service.book.entry_bytes(index).decode()
    assert unescape(re.search(r"data-receipt[^>]*>([^<]+)", page)[1]) == service.book.receipt(index)  # type: ignore[index]  # as above


def test_an_unknown_ball_is_a_404_page(quality: Browser) -> None:
    """As HTML, with what would help."""
    answer = quality.open("/ball/NOBODY")
    assert (404, True) == (answer.status_code, "unit NOBODY is not in the book" in text_of(answer.text))


def test_nobody_is_sent_to_sign_in(service: Service) -> None:
    """Without a session each page leads to the sign-in and back."""
    answer = service.nobody.get(BALL, headers={"accept": "text/html"})
    assert (303, "/sign-in?next=%2Fball%2FU-000001") == (answer.status_code, answer.headers["location"])
