"""Another number on a ball: taken first, read back, then entered; both stay findable."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ledger.line.rows import SerialRow, Unit
from ledger.store.reader import open_reader
from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.plant_pages import plant, signed_in
from tests.pages.test_ball_page import text_of

UNIT = "U-000001"
ANEW = f"/ball/{UNIT}/anew"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running plant."""
    with plant(tmp_path_factory.mktemp("anew"), "station", "inspector") as one:
        yield one


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """Somebody at the line."""
    one = signed_in(service, "station")
    yield one
    one.close()


def serials(service: Service, unit: str = UNIT) -> list[str]:
    """The numbers of a ball, in the order in which it bore them."""
    with open_reader(service.book.store) as reader:
        rows: list[SerialRow] = reader.rows(SerialRow, "unit", unit)
    return [row.serial for row in sorted(rows, key=lambda row: row.since_ms)]


def number_for(browser: Browser, unit: str = UNIT) -> str:
    """Take a number for a ball by the form; the number."""
    browser.open(f"/ball/{unit}/anew")
    answer = browser.send(f"/ball/{unit}/anew/number", station="E-7")
    assert 303 == answer.status_code
    browser.open(answer.headers["location"])
    return browser.page.text.partition('data-serial="')[2].partition('"')[0]


def test_a_number_is_taken_read_back_and_entered(service: Service, browser: Browser) -> None:
    """The ball bears it, the one before stays findable, and the page says that its labels must go."""
    assert f'href="{ANEW}"' in browser.open(f"/ball/{UNIT}").text
    number = number_for(browser)
    answer = browser.send(ANEW, read=f" {number[:4].lower()}-{number[4:]} ", reason="slipped")
    assert 303 == answer.status_code, answer.text
    page = text_of(browser.open(answer.headers["location"]).text)

    assert ["P000001", number] == serials(service)
    assert "It is entered." in page
    assert "A label with the number before no longer fits this ball" in page
    assert 303 == browser.client.get("/ball", params={"q": "P000001"}).status_code
    with open_reader(service.book.store) as reader:
        row: Unit | None = reader.one(Unit, UNIT)
    assert row is not None
    assert number == row.serial


def test_a_number_that_is_read_back_otherwise_is_not_entered(service: Service, browser: Browser) -> None:
    """The page says so, keeps the number, and the ball bears what it bore."""
    number = number_for(browser, "U-000002")
    answer = browser.send("/ball/U-000002/anew", read="P000002", reason="slipped")

    assert 409 == answer.status_code
    assert "It is not the number shown." in answer.text
    assert f'data-serial="{number}"' in answer.text
    assert ["P000002"] == serials(service, "U-000002")


def test_only_a_number_that_is_free_is_shown(service: Service, browser: Browser) -> None:
    """One of another ball, one never allotted, and none: the page asks to take one."""
    taken = number_for(browser, "U-000002")
    browser.send("/ball/U-000002/anew", read=taken, reason="worn")
    for number in (taken, "P000002", "AAAAAAAAA", "", "%00"):
        page = browser.open(f"/ball/U-000003/anew?number={number}").text
        assert "Take a number" in page, number
        assert "data-serial" not in page, number
    token = browser.found().forms["/ball/U-000003/anew/number"]
    form = {**dict(token), "number": taken, "read": taken, "reason": "slipped", "key": "anew-of-another"}
    assert 400 <= browser.client.post("/ball/U-000003/anew", data=form).status_code < 500
    assert ["P000003"] == serials(service, "U-000003")


def test_the_same_form_takes_one_number(browser: Browser) -> None:
    """A double tap gives the number that the first tap gave."""
    browser.open("/ball/U-000003/anew")
    answers = [browser.send("/ball/U-000003/anew/number", station="E-7") for _ in range(2)]
    assert answers[0].headers["location"] == answers[1].headers["location"]


def test_who_engraves_nothing_is_refused(service: Service) -> None:
    """An inspector has neither the link nor the page."""
    with_gauges = signed_in(service, "inspector")
    assert "/anew" not in with_gauges.open(f"/ball/{UNIT}").text
    assert 403 == with_gauges.open(ANEW).status_code
    with_gauges.close()


def test_what_bears_no_number_is_engraved_at_its_station(service: Service, browser: Browser) -> None:
    """A ball that was begun and not engraved leads there, and an unknown one is told."""
    begun = {
        "kind": "unit-started",
        "at": "2026-03-02T10:00:00.000+00:00",
        "unit": "U-77",
        "lot": "SL-1",
        "station": "L-1",
    }
    assert 201 == service.say("station", begun).status_code
    assert (409, 404) == tuple(browser.open(f"/ball/{unit}/anew").status_code for unit in ("U-77", "U-404"))
