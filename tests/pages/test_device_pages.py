"""Devices enrolled through the pages: a code shown once, typed on the device, which is then known without a password."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from api.pages.session import DEVICE_COOKIE_S
from tests.api.running import Service, running
from tests.pages.forms_sent import Browser, give_password

CODE = re.compile(r'<code class="serial">([0-9A-Z]{4}) ([0-9A-Z]{4})</code>')


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service where the quality lead has a password."""
    with running(tmp_path_factory.mktemp("devices"), public_per_minute=60_000, public_burst=10_000) as one:
        for role in ("quality", "inspector"):
            give_password(one, role)
        yield one


@pytest.fixture
def lead(service: Service) -> Iterator[Browser]:
    """A browser where the quality lead is signed in, on the page of devices."""
    opened = Browser(service)
    opened.sign_in("The quality")
    opened.open("/devices")
    yield opened
    opened.close()


@pytest.fixture
def tablet(service: Service) -> Iterator[Browser]:
    """A device that nobody enrolled yet."""
    opened = Browser(service)
    opened.open("/enrol")
    yield opened
    opened.close()


def code_for(service: Service, lead: Browser, name: str = "Tablet") -> str:
    """The code of a new device of the station's account."""
    account = service.book.account_of(service.tokens["station"]).account
    lead.open("/devices")
    lead.send("/devices", name=name, account=account, stage="engraving")
    found = CODE.search(lead.page.text)
    assert found is not None
    return f"{found[1].lower()} {found[2]}"


def test_a_device_is_enrolled_by_its_code_once(service: Service, lead: Browser, tablet: Browser) -> None:
    """The code gives a cookie for a year; a second use is refused beside the field, and the code is not shown again."""
    code = code_for(service, lead)
    assert code[5:] not in lead.open("/devices").text
    answer = tablet.send("/enrol", code=code)
    assert (303, "/") == (answer.status_code, answer.headers["location"])
    assert {"httponly", "samesite=lax", "path=/", f"max-age={DEVICE_COOKIE_S}"} == {
        part.lower() for part in answer.headers["set-cookie"].split("; ")[1:]
    }
    again = Browser(service)
    again.open("/enrol")
    refused = again.send("/enrol", code=code)
    assert (422, "code-fault code-hint") == (refused.status_code, again.found().fields["code"]["aria-describedby"])
    again.close()


@pytest.mark.parametrize("code", ["", "ABCD", "22222222", "0OIl!!!!"])
def test_a_wrong_code_enrols_nothing(tablet: Browser, code: str) -> None:
    """Text that is no code and a code that was never shown are told beside the field."""
    answer = tablet.send("/enrol", code=code)
    assert (422, None) == (answer.status_code, answer.headers.get("set-cookie"))
    assert "true" == tablet.found().fields["code"]["aria-invalid"]


def test_a_device_does_what_a_station_may(service: Service, lead: Browser, tablet: Browser) -> None:
    """It looks up without a password and says its records with its form token; the office's pages stay closed."""
    tablet.send("/enrol", code=code_for(service, lead))
    assert [200, 403, 403] == [tablet.client.get(path).status_code for path in ("/lots/SL-1", "/people", "/entries/0")]
    assert "enrolled as Tablet" in tablet.open("/enrol").text
    token = dict(tablet.found().forms["/enrol"])["form_token"]
    held = {
        "kind": "hold-placed",
        "at": "2026-03-02T08:00:00.000+00:00",
        "hold": "H-1",
        "reason": "smell",
        "node": "lot:SL-1",
    }
    sent = [
        tablet.client.post("/submissions", json={"records": [held]}, headers={"idempotency-key": "held", **header})
        for header in ({}, {"x-form-token": token})
    ]
    assert [403, 201] == [answer.status_code for answer in sent]


def test_a_person_signs_in_over_a_device(service: Service, lead: Browser, tablet: Browser) -> None:
    """With a person's session the device is that person's; after signing out it is the station again."""
    tablet.send("/enrol", code=code_for(service, lead))
    led = tablet.open("/account")
    assert (303, "/sign-in?next=/account") == (led.status_code, led.headers["location"])
    tablet.sign_in("The quality")
    assert 200 == tablet.open("/devices").status_code
    tablet.send("/sign-out")
    assert [403, 200] == [tablet.open("/devices").status_code, tablet.client.get("/lots/SL-1").status_code]


def test_an_ended_device_is_nobody(service: Service, lead: Browser, tablet: Browser) -> None:
    """Ended at the page of devices, its cookie opens nothing on the next request."""
    tablet.send("/enrol", code=code_for(service, lead, "Tablet to go"))
    lead.open("/devices")
    end = next(
        action
        for action in lead.found().forms
        if action.endswith("/end") and action in lead.page.text.partition("Tablet to go")[2]
    )
    assert 303 == lead.send(end).status_code
    assert 401 == tablet.client.get("/lots/SL-1").status_code
    assert "Tablet to go" not in lead.open("/devices").text


def test_devices_that_cannot_be_are_told_beside_their_field(service: Service, lead: Browser) -> None:
    """No name, an unknown stage, and an account that is not of the line."""
    station = service.book.account_of(service.tokens["station"]).account
    desk = service.book.account_of(service.tokens["desk"]).account
    for fields, told in (
        ({"name": " ", "account": station}, "name"),
        ({"name": "T", "account": station, "stage": "office"}, "stage"),
        ({"name": "T", "account": desk}, "account"),
        ({"name": "T", "account": "a-none"}, "account"),
    ):
        answer = lead.send("/devices", **fields)
        assert (422, "true") == (answer.status_code, lead.found().fields[told].get("aria-invalid")), fields


def test_only_lead_and_keeper_enrol(service: Service) -> None:
    """An inspector does not open the page of devices."""
    browser = Browser(service)
    browser.sign_in("The inspector")
    assert 403 == browser.open("/devices").status_code
    browser.close()
