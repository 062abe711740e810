"""The desk's first page over HTTP: a ball by a half-worn number, without scripts."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, entered
from tests.pages.forms_sent import Browser
from tests.plant import AT


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with eight balls."""
    with desk_running(tmp_path_factory.mktemp("finding")) as one:
        yield one


@pytest.fixture
def desk(service: Service) -> Iterator[Browser]:
    """The desk's browser."""
    with browser_of(service, "desk") as browser:
        yield browser


def test_the_field_is_ready_to_type_in(desk: Browser) -> None:
    """It has the focus at once, and the number may be typed in any way."""
    assert 200 == desk.open("/desk").status_code
    field = desk.found().fields["q"]
    assert ("autofocus", "off", "characters") == (field["autofocus"], field["autocomplete"], field["autocapitalize"])


def test_a_half_worn_number_gives_the_balls_that_it_may_be(desk: Browser) -> None:
    """Each with what tells it apart, and what to ask next leads to one ball."""
    page = desk.open("/desk?q=P00000%3F").text
    assert "8 balls fit." in page
    assert "Which of these is place 7 of the number?" in page
    assert '<span class="unread">3</span>' in page
    narrowed = desk.open("/desk?q=P000003").text
    assert "1 ball fits." in narrowed
    assert "/desk/claim/new?unit=U-000003&amp;serial=P000003&amp;read=P000003" in narrowed


def test_no_ball_is_guessed(desk: Browser) -> None:
    """A number on no ball says so, and still leads to a claim with the number as it was read."""
    page = desk.open("/desk?q=H77-41202").text
    assert "No ball fits." in page
    assert "/desk/claim/new?serial=H77-41202" in page


def test_what_narrows_the_search_is_kept_and_refused_beside_its_field(desk: Browser) -> None:
    """A date that is none is named, and the number stays typed."""
    answer = desk.open("/desk?q=P000003&made_from=2026-02-30")
    assert 400 == answer.status_code
    assert "no such date" in answer.text
    assert ("P000003", "2026-02-30") == (desk.found().fields["q"]["value"], desk.found().fields["made_from"]["value"])
    assert "true" == desk.found().fields["made_from"]["aria-invalid"]
    assert "No ball fits." in desk.open("/desk?q=P000003&weight=14").text


def test_a_claims_own_number_opens_the_claim(service: Service, desk: Browser) -> None:
    """Whoever phones again says that number."""
    entered(service, "desk", {"kind": "claim-opened", "at": AT, "claim": "WC-77", "mode": "void", "serial": "P000008"})
    answer = desk.open("/desk?q=wc-77")
    assert (303, "/desk/claim/WC-77") == (answer.status_code, answer.headers["location"])


def test_the_beginning_of_a_number_is_searched_when_asked(desk: Browser) -> None:
    """A search that may take long waits for a script or a link; both give the same balls."""
    waits = desk.open("/desk?q=P0000*").text
    assert "data-later=" in waits
    assert "whole=yes" in waits
    assert "8 balls fit." in desk.open("/desk?q=P0000*&whole=yes").text
    part = desk.open("/desk?q=P0000*&part=yes").text
    assert "8 balls fit." in part
    assert "<html" not in part


def test_the_desk_is_for_the_desk(service: Service) -> None:
    """A station may look up a ball, and has nothing to do with claims."""
    with browser_of(service, "station") as browser:
        assert 403 == browser.open("/desk").status_code
    with browser_of(service, "auditor") as browser:
        assert 200 == browser.open("/desk").status_code
        assert 403 == browser.open("/desk/claim/new").status_code
