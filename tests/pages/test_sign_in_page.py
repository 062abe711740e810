"""The sign-in page: who comes in, what it says, where it leads, and that it works without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from api.pages.refusal import local_address
from ledger.store.passwords import begin_sign_in
from tests.api.running import ROLES, Service, running
from tests.pages.forms_sent import PASSWORD, Browser, give_password

AWAY = (
    "https://evil.example", "//evil.example", "///evil.example", "/\\evil.example", "\\\\evil.example", "javascript:alert(1)",
    "/\t/evil.example", "/\n/evil.example", "/a\\b", "people", "", "/%09/\u00e9", "/<script>",
)  # fmt: skip


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service where everyone has a password."""
    with running(tmp_path_factory.mktemp("signing-in"), public_per_minute=60_000, public_burst=10_000) as one:
        for role in ROLES:
            give_password(one, role)
        yield one


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """A browser where nobody is signed in."""
    opened = Browser(service)
    yield opened
    opened.close()


def test_who_is_not_signed_in_is_led_there_and_back(browser: Browser) -> None:
    """A page of an account leads to the sign-in page, and from there to where the person wanted to be, query and all."""
    sent_away = browser.open("/people?x=1&y=a%20b")
    assert (303, "/sign-in?next=%2Fpeople%3Fx%3D1%26y%3Da%2520b") == (
        sent_away.status_code,
        sent_away.headers["location"],
    )
    browser.open(sent_away.headers["location"])
    let_in = browser.send("/sign-in", name="the ADMIN", password=PASSWORD)
    assert (303, "/people?x=1&y=a%20b") == (let_in.status_code, let_in.headers["location"])
    assert 200 == browser.open("/people").status_code


def test_the_fields_help_a_password_manager(browser: Browser) -> None:
    """Name and password say what they are to be filled with, and nothing keeps a person from pasting (WCAG 2.2, 3.3.8)."""
    browser.open("/sign-in")
    fields = browser.found().fields
    assert ("username", "current-password", "password") == (
        fields["name"]["autocomplete"],
        fields["password"]["autocomplete"],
        fields["password"]["type"],
    )
    assert all("onpaste" not in field for field in fields.values())
    assert 'data-reveals="password"' in browser.page.text


@pytest.mark.parametrize(("name", "password"), [("The admin", "another"), ("Nobody", PASSWORD), ("", "")])
def test_every_refusal_says_the_same(browser: Browser, name: str, password: str) -> None:
    """A wrong password and an unknown name are told alike beside the field, and no cookie is given."""
    answer = browser.sign_in(name, password)
    assert (401, None) == (answer.status_code, answer.headers.get("set-cookie"))
    field = browser.found().fields["password"]
    assert ("password-fault", "true") == (field["aria-describedby"], field["aria-invalid"])
    assert '<p class="error" id="password-fault">Name or password is not right.' in answer.text
    assert PASSWORD not in answer.text


def test_a_name_that_failed_too_often_waits(service: Service, browser: Browser) -> None:
    """After five failures even the right password is a 429 that says how long; others come in all the while."""
    for _ in range(4):
        assert 401 == browser.sign_in("The auditor", "another").status_code
    # The fifth is said to be from later, so that however slow this machine is, its wait has not run out.
    begin_sign_in(service.book.store, "The auditor", service.book.clock_ms() + 3_600_000)
    answer = browser.sign_in("The auditor")
    assert (429, True) == (answer.status_code, "Wait 30 seconds" in answer.text)
    assert 303 == browser.sign_in("The desk").status_code


def test_an_address_that_is_too_long_is_none() -> None:
    """Beyond 2000 characters it is the front page; up to there it is itself."""
    assert ("/" + "a" * 1_999, "/") == (local_address("/" + "a" * 1_999), local_address("/" + "a" * 2_000))


@pytest.mark.parametrize("wanted", AWAY)
def test_nobody_is_led_to_another_host(browser: Browser, wanted: str) -> None:
    """An address that is no path of this service leads to the front page, by query and by form alike."""
    assert "/" == local_address(wanted)
    browser.open(f"/sign-in?next={quote(wanted)}")
    assert "/" == dict(browser.found().forms["/sign-in"])["next"]
    answer = browser.send("/sign-in", name="The desk", password=PASSWORD, next=wanted)
    assert (303, "/") == (answer.status_code, answer.headers["location"])


def test_a_language_is_chosen_at_sign_in(browser: Browser) -> None:
    """Pages of the session are in the language that was chosen, whatever the browser asks; it can be changed later."""
    browser.sign_in("The admin", language="de")
    assert '<html lang="de">' in browser.open("/account", **{"accept-language": "en"}).text
    browser.send("/account/language", language="")
    assert '<html lang="en">' in browser.open("/account", **{"accept-language": "en"}).text
    browser.send("/account/language", language="xx")
    assert '<html lang="en">' in browser.open("/account", **{"accept-language": "en"}).text


def test_signing_out_ends_the_session_in_the_service(browser: Browser) -> None:
    """The cookie is taken back, and is good for nothing if it was kept."""
    browser.sign_in("The admin")
    browser.open("/account")
    kept = browser.client.cookies["pourbook"]
    answer = browser.send("/sign-out")
    assert (303, "/sign-in") == (answer.status_code, answer.headers["location"])
    assert None is browser.client.cookies.get("pourbook")
    browser.client.cookies.set("pourbook", kept)
    assert 303 == browser.open("/account").status_code


def test_forms_that_are_none(browser: Browser) -> None:
    """A field said twice, one too long, JSON and broken bodies are refused as a page, never as a failure."""
    for body, media in (
        (b"name=a&name=b&password=c", "application/x-www-form-urlencoded"),
        (b"name=" + b"a" * 3_000, "application/x-www-form-urlencoded"),
        (b"name=%ff%00&password=%00", "application/x-www-form-urlencoded"),
        (b"{", "application/json"),
        (b"", "multipart/form-data"),
        (
            b"--x\r\ncontent-disposition: form-data; name=name; filename=f\r\n\r\n1\r\n--x--\r\n",
            "multipart/form-data; boundary=x",
        ),
    ):
        answer = browser.client.post("/sign-in", content=body, headers={"content-type": media})
        assert answer.status_code in {400, 401, 429}, body
        assert answer.headers["content-type"].startswith("text/html"), body


def test_sign_ins_from_one_address_are_limited(tmp_path: Path) -> None:
    """However many names are tried, one address has so many tries and no more."""
    with running(tmp_path, public_per_minute=1, public_burst=3) as service:
        browser = Browser(service)
        assert [401, 401, 401, 429] == [browser.sign_in(f"Name {number}", "x").status_code for number in range(4)]
        browser.close()
