"""The page of a return: what came back is recorded, with the shipment that it was away in, whatever stands against it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ledger.line.rows import Shipped, Unit
from ledger.line.shipments import Returned
from ledger.store.reader import open_reader
from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, followed, unit
from tests.pages.forms_sent import Browser


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Balls 1 and 2 are away in SH-1, 3 in SH-2, 4 in SH-3, the others are here."""
    with desk_running(tmp_path_factory.mktemp("returns")) as one:
        yield one


@pytest.fixture(scope="module")
def browser(service: Service) -> Iterator[Browser]:
    """The browser of the desk, where what comes back is unpacked."""
    with browser_of(service, "desk") as one:
        yield one


def returns(service: Service, number: int) -> list[Returned]:
    """The returns of a ball."""
    with open_reader(service.book.store) as reader:
        facts = reader.facts_about(f"unit:{unit(number)}")
    return [fact.record for fact in facts if isinstance(fact.record, Returned)]


def test_balls_come_back_together(service: Service, browser: Browser) -> None:
    """Each return names the shipment that the ball was away in; one entry says all, and its page names them."""
    browser.open("/shipment/return")
    page = followed(browser, browser.send("/shipment/return", balls="P000001\nP000002", reason="recall"))

    assert "2 balls are back." in page.text
    assert unit(2) in page.text
    assert [("SH-1", "recall")] == [(one.shipment, one.reason) for one in returns(service, 1)]
    with open_reader(service.book.store) as reader:
        row: Unit | None = reader.one(Unit, unit(1))
        (shipped,) = reader.rows(Shipped, "unit", unit(1))
    assert row is not None
    assert ("returned", None) == (row.state, row.away)
    assert shipped.back_ms is not None


def test_a_ball_that_is_not_away_is_asked_about(service: Service, browser: Browser) -> None:
    """It is refused with what stands against it; told that it is here all the same, it is entered and held."""
    browser.open("/shipment/return")
    page = browser.send("/shipment/return", balls="P000005", reason="claim")
    assert 422 == page.status_code
    assert "came back while the book had it as engraved" in page.text
    assert 'name="anyway"' in page.text
    assert [] == returns(service, 5)

    page = followed(browser, browser.send("/shipment/return", balls="P000005", reason="claim", anyway="yes"))
    assert "1 ball is back." in page.text
    assert "came back while the book had it as engraved" in page.text
    assert 1 == len(returns(service, 5))


def test_a_look_tells_where_the_book_has_each(service: Service, browser: Browser) -> None:
    """The shipment that a ball left with, or that it is here; nothing is entered."""
    browser.open("/shipment/return")
    data = {**dict(browser.found().forms["/shipment/return"]), "balls": "P000003\nP000006\nP000404"}
    page = browser.client.post("/shipment/return/look", data=data)

    assert 200 == page.status_code
    assert "yes, it was away" in page.text
    assert "came back while the book had it as engraved" in page.text
    assert "nothing in the book has this id" in page.text
    assert [] == returns(service, 3)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"reason": ""}, "no reason is chosen"),
        ({"reason": "moon"}, "no reason is chosen"),
        ({"balls": ""}, "no ball is on the list"),
        ({"balls": "SL-1"}, "this is a lot and no ball"),
        ({"moment": "noon"}, "no such time"),
    ],
)
def test_what_is_wrong_is_told(service: Service, browser: Browser, typed: dict[str, str], told: str) -> None:
    """A form that cannot be entered says why, and enters nothing."""
    browser.open("/shipment/return")
    page = browser.send("/shipment/return", **{"balls": "P000003", "reason": "claim", **typed})

    assert 400 <= page.status_code < 500
    assert told in page.text
    assert [] == returns(service, 3)


def test_a_form_sent_twice_enters_once(service: Service, browser: Browser) -> None:
    """The second answer is the first entry, though the ball is away no longer."""
    browser.open("/shipment/return")
    answers = [browser.send("/shipment/return", balls="P000004", reason="claim", note="wet box") for _ in range(2)]

    assert [303, 303] == [answer.status_code for answer in answers]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert 1 == len(returns(service, 4))


def test_a_returned_ball_goes_back_on_the_shelf(service: Service, browser: Browser) -> None:
    """The page of a ball that is away leads here; a quality lead puts it on the shelf again from there."""
    page = browser.open(f"/ball/{unit(3)}")
    assert f'href="/shipment/return?ball={unit(3)}"' in page.text
    assert "/restock" not in page.text
    browser.open(f"/shipment/return?ball={unit(3)}")
    followed(browser, browser.send("/shipment/return", reason="sample-back", balls=unit(3)))
    with browser_of(service, "quality") as lead:
        lead.open(f"/ball/{unit(3)}")
        page = followed(lead, lead.send(f"/ball/{unit(3)}/restock", confirm="yes"))
        assert "It is entered." in page.text
    with open_reader(service.book.store) as reader:
        row: Unit | None = reader.one(Unit, unit(3))
    assert row is not None
    assert "engraved" == row.state


@pytest.mark.parametrize("role", ["inspector", "auditor", "admin"])
def test_others_may_not(service: Service, role: str) -> None:
    """Who ships nothing and takes nothing back opens neither page."""
    with browser_of(service, role) as one:
        assert [403, 403] == [one.open(address).status_code for address in ("/shipment", "/shipment/return")]
