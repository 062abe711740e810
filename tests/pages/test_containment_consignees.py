"""The register of consignees: entered, revised, and what each has now."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from api.pages.catalogue import catalogue
from api.pages.containment.suspects import suspect_from
from api.pages.desk.forms import Typed
from ledger.errors import MalformedInput, MalformedRecord
from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, followed
from tests.pages.forms_sent import Browser

REGISTER = "/containment/consignees"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with two shops."""
    with desk_running(tmp_path_factory.mktemp("consignees"), balls=4) as one:
        yield one


@pytest.fixture
def desk(service: Service) -> Iterator[Browser]:
    """The desk's browser."""
    with browser_of(service, "desk") as browser:
        yield browser


def test_a_consignee_is_registered_and_revised(desk: Browser) -> None:
    """A later registration takes the place of the earlier one."""
    desk.open(REGISTER)
    fields = {"name": "Shop Three", "market": "North", "address": "3 High Street\r\nSampleton"}
    done = followed(desk, desk.send(REGISTER, consignee="shop-3", **fields))
    assert "It stands in the register." in done.text
    assert "3 High Street<br>Sampleton" in done.text
    followed(desk, desk.send(REGISTER, name="Shop Three and Sons", market="north", address="3 High Street"))
    assert "Shop Three and Sons" in desk.open(REGISTER).text


def test_a_refused_registration_keeps_what_was_typed(desk: Browser) -> None:
    """An id that is none is named beside its field."""
    desk.open(REGISTER)
    answer = desk.send(REGISTER, consignee="a shop!", name="A shop", market="north")
    assert 400 == answer.status_code
    assert ("A SHOP!".lower(), "true") == (
        (desk.found().fields["consignee"]["value"] or "").lower(),
        desk.found().fields["consignee"]["aria-invalid"],
    )


def test_what_a_consignee_has_now(desk: Browser) -> None:
    """By the book, after the page or by its link."""
    assert "data-later" in desk.open("/containment/consignee/SHOP-1").text
    page = desk.open("/containment/consignee/SHOP-1?whole=yes").text
    assert "P000001" in page
    assert "P000003" not in page


def test_an_auditor_reads_the_register_and_changes_nothing(service: Service) -> None:
    """No form, and none is taken."""
    with browser_of(service, "auditor") as auditor:
        assert 200 == auditor.open(REGISTER).status_code
        assert REGISTER not in auditor.found().forms
        token = dict(auditor.found().forms["/sign-out"])["form_token"]
        assert 403 == auditor.client.post(REGISTER, data={"form_token": token, "key": "k"}).status_code


def test_a_span_is_read_in_the_plants_zone() -> None:
    """A time without an offset is the plant's; one with its own keeps it."""
    words = catalogue("en", "Europe/Berlin")
    typed = Typed({"sort": "gauge", "name": "g1", "from": "2026-08-31T10:00", "to": "2026-09-01T10:00+00:00"})
    found = suspect_from(typed, words)
    assert ("G1", "2026-08-31T10:00:00.000+02:00", "2026-09-01T10:00:00.000+00:00") == (
        found.name,
        found.from_at,
        found.to_at,
    )


def test_a_suspect_that_is_said_wrongly_is_named_by_its_field() -> None:
    """No such sort, no such instant, a lot over a span, a range whose ends have two lengths."""
    words = catalogue("en", "UTC")
    for typed, error in (
        ({"sort": "moon", "name": "M"}, MalformedInput),
        ({"sort": "gauge", "name": "G1", "from": "soon"}, MalformedInput),
        ({"sort": "shell-lot", "name": "SL-1", "from": "2026-08-31T10:00"}, MalformedRecord),
        ({"sort": "serials", "first_serial": "P1", "last_serial": "P10"}, MalformedRecord),
    ):
        with pytest.raises(error):
            suspect_from(Typed(typed), words)
