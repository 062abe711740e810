"""The page of a shipment: what may leave is told ball by ball, and all leave as one entry or none."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from ledger.line.rows import Shipped, Unit
from ledger.store.reader import open_reader
from ledger.store.selections import every_row
from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, entered, followed, unit
from tests.pages.forms_sent import Browser
from tests.plant import AT

STEM = "https://id.example.com"
FREE = {"shipment": "SH-9", "purpose": "sample", "to": "SHOP-1", "consignee": ""}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Balls 1 to 4 are away, the others are here and engraved; each test that enters something has its own."""
    with desk_running(tmp_path_factory.mktemp("shipments"), balls=12) as one:
        yield one


@pytest.fixture(scope="module")
def browser(service: Service) -> Iterator[Browser]:
    """The browser of somebody who ships."""
    with browser_of(service, "station") as one:
        yield one


def state(service: Service, number: int) -> str:
    """The state of a ball."""
    with open_reader(service.book.store) as reader:
        row: Unit | None = reader.one(Unit, unit(number))
    return "" if row is None else row.state


def shipments(service: Service) -> set[str]:
    """Every shipment in the book."""
    with open_reader(service.book.store) as reader:
        rows: list[Shipped] = every_row(reader.transaction, Shipped)
    return {row.shipment for row in rows}


def test_balls_scanned_one_to_a_line_leave_together(service: Service, browser: Browser) -> None:
    """A number, a tag in small letters and the address of a label are one list; it is one entry, and the page says which."""
    browser.open("/shipment")
    label = f"{STEM}/01/09521234543213/21/P000007"
    page = followed(
        browser, browser.send("/shipment", balls=f"P000005\r\n{unit(6).lower()}\r\n\r\n{label}\r\n", **FREE)
    )

    assert "Shipment SH-9 with 3 balls is entered." in page.text
    assert ["shipped"] * 3 == [state(service, number) for number in (5, 6, 7)]
    assert "engraved" == state(service, 8)


def test_a_look_enters_nothing_and_tells_each_ball(service: Service, browser: Browser) -> None:
    """What stands against a ball is told of that ball; what is no ball, and what is away already, stand first."""
    before = shipments(service)
    browser.open("/shipment")
    page = browser.client.post(
        "/shipment/look",
        data={
            **dict(browser.found().forms["/shipment"]),
            "balls": "P000008\nP000001\nSL-1\nnothing such",
            "purpose": "sample",
        },
    )

    assert 200 == page.status_code
    assert "1 of 4 balls may leave" in page.text
    assert "unit U-000001 may not leave" in page.text
    assert "this is a lot and no ball" in page.text
    assert page.text.index("U-000001") < page.text.rindex("P000008")
    assert before == shipments(service)


def test_what_may_not_leave_is_taken_off_the_list(browser: Browser) -> None:
    """The list that comes back has the others alone."""
    browser.open("/shipment")
    page = browser.client.post(
        "/shipment/look",
        data={
            **dict(browser.found().forms["/shipment"]),
            "balls": "P000008\nP000001\nP000009",
            "purpose": "sample",
            "drop": "yes",
        },
    )

    assert "2 of 2 balls may leave" in page.text
    assert "P000001" not in page.text


def test_one_ball_that_may_not_leave_stops_all(service: Service, browser: Browser) -> None:
    """The form comes back as it was typed, with the reason; nothing has left."""
    browser.open("/shipment")
    page = browser.send("/shipment", balls="P000008\nP000009", **{**FREE, "shipment": "SH-10", "purpose": "sale"})

    assert 422 == page.status_code
    assert "may not leave" in page.text
    assert ">P000008\nP000009</textarea>" in page.text
    assert "SH-10" not in shipments(service)
    assert "engraved" == state(service, 8)


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"balls": ""}, "no ball is on the list"),
        ({"balls": "P000404"}, "nothing in the book has this id"),
        ({"to": ""}, "a shipment goes to one consignee"),
        ({"consignee": "A lab"}, "a shipment goes to one consignee"),
        ({"shipment": "SH-1"}, "is in the book already"),
        ({"shipment": ""}, "shipment"),
        ({"moment": "yesterday"}, "no such time"),
    ],
)
def test_what_is_wrong_is_told(service: Service, browser: Browser, typed: dict[str, str], told: str) -> None:
    """A form that cannot be entered says why, and enters nothing."""
    browser.open("/shipment")
    page = browser.send("/shipment", **{"balls": "P000008", **FREE, "shipment": "SH-11", **typed})

    assert 400 <= page.status_code < 500
    assert told in page.text
    assert "engraved" == state(service, 8)


def test_a_form_sent_twice_ships_once(service: Service, browser: Browser) -> None:
    """The same form again leads to the same entry."""
    browser.open("/shipment")
    form = {**FREE, "balls": "P000012", "note": "by van", "shipment": "SH-12"}
    answers = [browser.send("/shipment", **form) for _ in range(2)]

    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert 1 == sum(row.shipment == "SH-12" for row in _shipped(service))


def test_an_address_alone_says_nothing(browser: Browser) -> None:
    """The page says that a shipment was entered only where the entry is one."""
    for entry in ("0", "1", "99999", "no", "9" * 40):
        assert "is entered." not in browser.open(f"/shipment?done={entry}").text


def test_a_list_begins_from_the_page_of_a_ball(browser: Browser) -> None:
    """A ball that is here has a link that puts it on the list."""
    page = browser.open(f"/ball/{unit(8)}")
    assert f'href="/shipment?ball={unit(8)}"' in page.text
    page = browser.open(f"/shipment?ball={unit(8)}")
    assert f">{unit(8)}</textarea>" in page.text
    assert "0 of 1 ball may leave" in page.text


def test_names_of_consignees_are_shown_to_whom_they_may_be(service: Service, browser: Browser) -> None:
    """A station chooses by the id, a quality lead sees the name too; the desk ships nothing."""
    assert "Shop 1" not in browser.open("/shipment").text
    with browser_of(service, "quality") as lead:
        assert "Shop 1 (SHOP-1)" in lead.open("/shipment").text
    with browser_of(service, "desk") as desk:
        page = desk.open("/shipment")
        assert "a shipment is entered by a station or a quality lead" in page.text
        assert "Enter the shipment" not in page.text


def test_a_hold_is_told_before(service: Service, browser: Browser) -> None:
    """A ball under a hold may not leave, and the page names the hold."""
    held = {
        "kind": "hold-placed",
        "at": AT,
        "hold": "H-9",
        "node": f"unit:{unit(11)}",
        "reason": "looks-odd",
        "stops": ["shipment"],
    }
    entered(service, "quality", held)
    page = browser.open(f"/shipment?ball={unit(11)}&purpose=sample")

    assert "0 of 1 ball may leave" in page.text
    assert "H-9" in page.text


def _shipped(service: Service) -> list[Shipped]:
    with open_reader(service.book.store) as reader:
        rows: list[Shipped] = every_row(reader.transaction, Shipped)
    return rows
