"""Lots merged from the page of one of them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.plant_pages import plant, signed_in
from tests.pages.test_ball_page import text_of

MERGE = "/lot/CL-2/merge"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A plant where core lots CL-2 and CL-3 have pieces left."""
    with plant(tmp_path_factory.mktemp("merge"), "station", "desk") as one:
        yield one


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """Somebody at the line."""
    one = signed_in(service, "station")
    yield one
    one.close()


def left(service: Service, lot: str) -> int:
    """What is left of a lot."""
    return service.book.lot(lot).account.left


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"lot1": "BL-2", "count1": "1"}, "lots of unlike stage"),
        ({"lot1": "CL-3", "count1": "500"}, "500"),
        ({"lot1": "", "count1": ""}, "lots"),
        ({"lot1": "CL-2", "count1": "1"}, "is named twice"),
        ({"lot1": "CL-3", "count1": "many"}, "count"),
        ({"lot1": "CL-3", "count1": "5", "confirm": ""}, "not confirmed"),
    ],
)
def test_what_cannot_be_merged_is_told(service: Service, browser: Browser, typed: dict[str, str], told: str) -> None:
    """The form comes back open, with what was typed and the reason; nothing is merged."""
    browser.open("/lot/CL-2")
    page = browser.send(MERGE, **{"into": "CL-M", "confirm": "yes", **typed})

    assert 400 <= page.status_code < 500
    assert told in page.text
    assert f'value="{typed["lot1"]}"' in page.text
    assert (30, 40) == (left(service, "CL-2"), left(service, "CL-3") + 20)


def test_two_lots_go_on_as_one(service: Service, browser: Browser) -> None:
    """The pieces of both are in the new lot, which descends from either as possible; the page says that it is entered."""
    browser.open("/lot/CL-2")
    answer = browser.send(MERGE, into="cl-m", lot1="cl-3", count1="20", confirm="yes")
    assert 303 == answer.status_code, answer.text
    page = text_of(browser.open(answer.headers["location"]).text)

    assert "It is entered." in page
    assert (0, 0, 50) == tuple(left(service, lot) for lot in ("CL-2", "CL-3", "CL-M"))
    above = {one.lot: one.certainty for one in service.book.above("CL-M").lots}
    assert ("possible", "possible") == (above["CL-2"], above["CL-3"])


def test_who_may_not_merge_has_no_form(service: Service) -> None:
    """The desk looks at lots and does nothing to them; a drum is never merged."""
    desk = signed_in(service, "desk")
    assert "/merge" not in desk.open("/lot/CL-2").text
    desk.close()
    line = signed_in(service, "station")
    assert "/merge" not in line.open("/lot/MT-1").text
    line.close()


def test_an_address_alone_says_nothing(browser: Browser) -> None:
    """The page says that something is entered only of an entry about this lot."""
    assert "It is entered." not in browser.open("/lot/CL-3?done=hold&entry=0").text
    assert "It is entered." not in browser.open("/lot/CL-3?done=hold&entry=%00").text
