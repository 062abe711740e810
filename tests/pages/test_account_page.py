"""One's own account: the password is changed by who knows it, a given one must be changed first, sessions are ended."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service, running
from tests.pages.forms_sent import PASSWORD, Browser, give_password

OTHER = "other words in no order"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service."""
    with running(tmp_path_factory.mktemp("own"), public_per_minute=60_000, public_burst=10_000) as one:
        yield one


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """A browser where the desk is signed in, with its usual password."""
    give_password(service, "desk")
    opened = Browser(service)
    opened.sign_in("The desk")
    opened.open("/account")
    yield opened
    opened.close()


def changed(browser: Browser, old: str, new: str, again: str | None = None) -> tuple[int, set[str]]:
    """Send the form; the status, and the fields that are marked as wrong."""
    answer = browser.send("/account/password", old=old, new=new, again=new if again is None else again)
    wrong = {name for name, field in browser.found().fields.items() if field.get("aria-invalid") == "true"}
    return answer.status_code, wrong if answer.status_code != 303 else set()


def test_a_password_is_changed_and_other_sessions_end(service: Service, browser: Browser) -> None:
    """The old one opens nothing any more, this session goes on, and another of the account has ended."""
    other = Browser(service)
    other.sign_in("The desk")
    assert (303, set()) == changed(browser, PASSWORD, OTHER)
    assert [200, 303] == [one.open("/account").status_code for one in (browser, other)]
    assert [401, 303] == [other.sign_in("The desk", word).status_code for word in (PASSWORD, OTHER)]
    assert "Your password is changed" in browser.open("/account?done=password").text
    other.close()


def test_what_is_wrong_is_told_beside_its_field(browser: Browser) -> None:
    """A wrong present one, a short one, the account's name, two that differ, the same again: each marks its field."""
    assert (422, {"old"}) == changed(browser, "another", OTHER)
    assert (422, {"new"}) == changed(browser, PASSWORD, "short")
    assert "12 to 128 characters" in browser.page.text
    assert (422, {"again"}) == changed(browser, PASSWORD, OTHER, "something else entirely")
    assert (422, {"new"}) == changed(browser, PASSWORD, PASSWORD)
    assert PASSWORD not in browser.page.text
    assert (303, set()) == changed(browser, PASSWORD, OTHER)


def test_a_given_password_is_changed_before_anything_else(service: Service) -> None:
    """Every page leads to the account page, JSON is refused with the mend; after the change all opens."""
    give_password(service, "quality", must_change=True)
    browser = Browser(service)
    browser.sign_in("The quality", next="/devices")
    led = browser.open("/devices")
    assert (303, "/account") == (led.status_code, led.headers["location"])
    refused = browser.client.get("/standing", headers={"accept": "application/json"})
    assert (403, True) == (refused.status_code, "/account" in refused.json()["mend"])
    assert "given to you by someone else" in browser.open("/account").text
    answer = browser.send("/account/password", old=PASSWORD, new=OTHER, again=OTHER)
    assert (303, "/") == (answer.status_code, answer.headers["location"])
    assert [200, 200] == [browser.open("/devices").status_code, browser.client.get("/standing").status_code]
    browser.close()


def test_other_sessions_are_counted_and_ended(service: Service, browser: Browser) -> None:
    """The page says how many there are; after they are ended only this one is left."""
    others = [Browser(service) for _ in range(2)]
    for other in others:
        other.sign_in("The desk")
    assert "at 2 other places" in browser.open("/account").text
    assert 303 == browser.send("/account/sessions").status_code
    assert "You are signed in here alone." in browser.open("/account?done=sessions").text
    assert [303, 303] == [other.open("/account").status_code for other in others]
    for other in others:
        other.close()


def test_the_fields_say_what_they_are_filled_with(browser: Browser) -> None:
    """Present and new passwords are told apart for a password manager."""
    fields = browser.found().fields
    assert ("current-password", "new-password", "new-password") == tuple(
        fields[name]["autocomplete"] for name in ("old", "new", "again")
    )
