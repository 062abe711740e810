"""Erasing what is kept of people in a claim by its page: chosen, confirmed, gone, and the book says so."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.application.desk_stories import png
from tests.pages.desk_service import browser_of, desk_running, followed, path_of, send_files
from tests.pages.forms_sent import Browser

NEW = "/desk/claim/new"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with two balls."""
    with desk_running(tmp_path_factory.mktemp("erasing"), balls=4) as one:
        yield one


@pytest.fixture(scope="module")
def claim(service: Service) -> str:
    """The page of a claim with a name and a photo."""
    with browser_of(service, "desk") as desk:
        desk.open(f"{NEW}?unit=U-000001&serial=P000001")
        photo = ("photos", ("hand.png", png("hand"), "image/png"))
        return path_of(send_files(desk, NEW, [photo], mode="void", claimant="Ann Example", note="rings at noon"))


@pytest.fixture
def lead(service: Service) -> Iterator[Browser]:
    """The quality lead's browser."""
    with browser_of(service, "quality") as browser:
        yield browser


def test_the_desk_asks_the_quality_lead(service: Service, claim: str) -> None:
    """Who may not erase is told who may, and the page is closed."""
    with browser_of(service, "desk") as desk:
        assert "ask the quality lead" in desk.open(claim).text
        assert 403 == desk.open(f"{claim}/erase").status_code


def test_nothing_goes_before_someone_is_sure(lead: Browser, claim: str) -> None:
    """Refused beside the box, with what was chosen and typed still there."""
    lead.open(f"{claim}/erase")
    answer = lead.send(f"{claim}/erase", reason="asked by the owner", basis="mistake")
    assert 400 == answer.status_code
    assert "cannot be brought back" in answer.text
    assert "asked by the owner" == lead.found().fields["reason"]["value"]
    assert "Ann Example" in lead.open(claim).text
    lead.open(f"{claim}/erase")
    empty = lead.send(f"{claim}/erase", field=[], blob=[], sure="yes")
    assert (400, True) == (empty.status_code, "nothing is chosen" in empty.text)


def test_what_was_chosen_is_gone_for_ever(service: Service, lead: Browser, claim: str) -> None:
    """Name, note and photo; the page says by which fact, and the claim stands."""
    lead.open(f"{claim}/erase")
    done = followed(lead, lead.send(f"{claim}/erase", sure="yes", basis="request", reason="asked by the owner"))
    assert "is erased for ever" in done.text
    assert "Ann Example" not in done.text
    assert "rings at noon" not in done.text
    assert "erased, by fact" in done.text
    assert "Nothing of people is kept of this claim" in lead.open(f"{claim}/erase").text
    assert [] == service["desk"].get(claim.replace("/desk/claim", "/claims") + "/people").json()["fields"]
