"""The page of a lot and the list of lots: the account adds up, balls come a page at a time, all below is counted."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.pages.forms_sent import Browser
from tests.pages.plant_pages import MIXED, plant, signed_in
from tests.pages.test_ball_page import HELD, form_token, text_of, words
from tests.plant import registration

MANY = 70


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running plant with more balls in one lot than a page lists."""
    with plant(tmp_path_factory.mktemp("lot"), "quality", "station") as one:
        for number in range(100, 100 + MANY):
            one.book.submit(registration(number), one.keeper).result()
        yield one


@pytest.fixture
def quality(service: Service) -> Iterator[Browser]:
    """A browser where a quality lead is signed in."""
    browser = signed_in(service, "quality")
    yield browser
    browser.close()


@pytest.mark.parametrize("lot", ["MT-1", "BT-1", "BL-1", "CL-2", "SL-1", MIXED])
def test_the_account_is_the_applications(service: Service, quality: Browser, lot: str) -> None:
    """Made, adjusted, used, lost and left stand as in the JSON, and add up; what was made elsewhere came in."""
    account = service.book.lot(lot).account
    unit = 1000 if account.unit == "g" else 1
    shown = {
        name.split()[0]: round(float(figure.replace(",", "").replace(" kg", "")) * unit)
        for name, figure in re.findall(
            r'<th scope="row">([a-z ]+)</th><td class="figure">(?:− )?([\d.,]+(?: kg)?)</td>',
            quality.open(f"/lot/{lot}").text,
        )
    }
    assert account.made + account.adjusted - account.used - account.lost == account.left
    made = "came" if lot == "MT-1" else "made"
    assert {name: shown[name] for name in (made, "adjusted", "used", "lost", "left")} == {
        made: account.made, "adjusted": account.adjusted, "used": account.used, "lost": account.lost,
        "left": account.left,
    }  # fmt: skip


@pytest.mark.parametrize("lot", ["MT-1", "BL-2", "CL-3", "SL-1"])
def test_balls_below_are_counted_as_the_application_lists_them(service: Service, quality: Browser, lot: str) -> None:
    """By certainty and state, on the lot's page and on the page of the long count alike."""
    counts = service.book.below(lot).counts
    for address in (f"/lot/{lot}", f"/lot/{lot}/below", f"/lot/{lot}/below?part=yes"):
        found = re.findall(
            r'<th scope="row"><span class="certainty (\w+)">\w+</span></th><td>(\w+)</td><td class="figure">(\d+)</td>',
            quality.open(address).text,
        )
        assert counts == {f"{sure} {state}": int(count) for sure, state, count in found}


def test_balls_come_a_page_at_a_time(service: Service, quality: Browser) -> None:
    """Each ball of the lot is on one page, and no page has more than fifty; a state narrows them."""
    seen: list[str] = []
    address: str | None = "/lot/SL-1"
    while address is not None:
        page = quality.open(address).text
        listed = re.findall(r'<th scope="row"><a class="id" href="/ball/([^"]+)">', page)
        assert 0 < len(listed) <= 50
        seen += listed
        following = re.search(r'rel="next" href="([^"#]+)', page)
        address = None if following is None else following[1].replace("&amp;", "&")
    assert sorted(ball.unit for ball in service.book.below("SL-1").balls) == seen
    assert "No ball was begun from it yet." in words(quality, "/lot/SL-1?state=scrapped")


def test_lots_of_a_stage_come_newest_first(service: Service, quality: Browser) -> None:
    """The list has each lot of the stage with what is left of it; an id leads on, its beginning lists."""
    page = quality.open("/lot?stage=core").text
    assert {"CL-1", "CL-2", "CL-3"} == set(re.findall(r'<th scope="row"><a class="id" href="/lot/([^"]+)">', page))
    assert 303 == quality.open("/lot?q=cl-2").status_code
    assert {"SL-1", MIXED} == set(
        re.findall(r'<th scope="row"><a class="id" href="/lot/([^"]+)">', quality.open("/lot?q=SL").text)
    )
    assert "No lot's id begins with NOTHING" in words(quality, "/lot?q=nothing").replace("nothing", "NOTHING")
    assert "/lot/SL-1" == quality.client.get("/lot", params={"q": "https://p.example/lot/SL-1"}).headers["location"]
    assert service.book.lot("CL-2").account.left == 30


def test_a_lot_is_held_and_contained_from_its_page(service: Service, quality: Browser) -> None:
    """The hold names the lot; the way to containment names it as the suspect of its sort."""
    page = quality.open("/lot/BL-3").text
    assert 'href="/containment?sort=block-lot&amp;name=BL-3"' in page
    answer = quality.send("/lot/BL-3/hold", **HELD)
    assert 303 == answer.status_code
    hold = next(hold for hold in service.book.lot("BL-3").holds if hold.open)
    assert "lot:BL-3" == hold.node
    assert "1 open hold stands over this lot" in words(quality, answer.headers["location"])
    assert 'class="lot certain held"' in quality.open("/trace/CL-3").text


def test_a_lots_page_has_no_form_for_balls(quality: Browser) -> None:
    """What can be said of balls alone is no address of a lot."""
    quality.open("/lot/BL-2")
    answer = quality.client.post("/lot/BL-2/scrap", data={"form_token": form_token(quality)})
    assert 404 == answer.status_code


def test_a_station_may_hold_and_not_contain(service: Service) -> None:
    """Whoever sees trouble may stop it; cases are for others."""
    station = signed_in(service, "station")
    page = station.open("/lot/SL-1").text
    assert 'action="/lot/SL-1/hold"' in page
    assert "/containment" not in page
    station.close()


def test_an_unknown_lot_is_a_404_page(quality: Browser) -> None:
    """As HTML, with what would help."""
    answer = quality.open("/lot/NONE")
    assert (404, True) == (answer.status_code, "lot NONE is not in the book" in text_of(answer.text))
