"""Sessions of browsers: cookies and their attributes, forged requests, and JSON by cookie."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from ledger.access.cookies import form_token
from ledger.access.tokens import format_token
from ledger.store.sessions import end_sessions
from tests.api.running import Service, running
from tests.pages.forms_sent import PASSWORD, Browser, give_password

HOLDS = itertools.count(100)
HELD = {"kind": "hold-placed", "at": "2026-03-02T08:00:00.000+00:00", "reason": "smell", "node": "lot:SL-1"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service where the keeper and a quality lead have passwords."""
    with running(tmp_path_factory.mktemp("sessions"), public_per_minute=60_000, public_burst=10_000) as one:
        for role in ("admin", "quality"):
            give_password(one, role)
        yield one


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """A browser where a quality lead is signed in."""
    opened = Browser(service)
    opened.sign_in("The quality")
    yield opened
    opened.close()


def said(browser: Browser, hold: str, **headers: str) -> httpx.Response:
    """Place a hold over JSON, by cookie."""
    body = {"records": [{**HELD, "hold": hold}]}
    return browser.client.post("/submissions", json=body, headers={"idempotency-key": hold, **headers})


def token_of(browser: Browser) -> str:
    """The form token of a browser's session."""
    return form_token(browser.client.cookies["pourbook"])


def attributes(answer: httpx.Response) -> set[str]:
    """Name and attributes of the cookie that an answer sets, without its value."""
    first, *rest = answer.headers["set-cookie"].split("; ")
    return {first.partition("=")[0], *(part.lower() for part in rest)}


def test_the_cookie_is_kept_from_scripts_and_other_sites(service: Service) -> None:
    """HttpOnly, SameSite=Lax, the whole host, no domain, twelve hours; over plain http without Secure."""
    browser = Browser(service)
    assert {"pourbook", "httponly", "samesite=lax", "path=/", "max-age=43200"} == attributes(
        browser.sign_in("The quality")
    )
    browser.close()


def test_over_https_the_cookie_belongs_to_this_host_alone(tmp_path: Path) -> None:
    """Where browsers come by https it is Secure and bears __Host-, and one without the prefix counts for nothing."""
    with running(tmp_path, secure_cookies=True) as service:
        give_password(service, "quality")
        browser = Browser(service)
        answer = browser.sign_in("The quality")
        assert {"__Host-pourbook", "httponly", "samesite=lax", "path=/", "max-age=43200", "secure"} == attributes(
            answer
        )
        text = answer.headers["set-cookie"].partition("=")[2].partition(";")[0]
        shown = [
            browser.open("/account", cookie=f"{name}={text}").status_code for name in ("__Host-pourbook", "pourbook")
        ]
        assert [200, 303] == shown
        browser.close()


def test_a_session_is_never_one_that_was_there_before(service: Service, browser: Browser) -> None:
    """A sign-in gives a new cookie, whatever cookie came with it, and the session of before has ended."""
    planted = "pbs1_" + "A" * 43
    stranger = Browser(service)
    headers = {"cookie": f"pourbook={planted}"}
    assert 303 == stranger.client.get("/account", headers=headers).status_code
    form = {"name": "The admin", "password": PASSWORD}
    let_in = stranger.client.post("/sign-in", data=form, headers=headers)
    assert (303, False) == (let_in.status_code, planted in let_in.headers["set-cookie"])
    before = browser.client.cookies["pourbook"]
    browser.sign_in("The quality")
    after = browser.client.cookies["pourbook"]
    assert [303, 200] == [
        stranger.client.get("/account", headers={"cookie": f"pourbook={cookie}"}).status_code
        for cookie in (before, after)
    ]
    stranger.close()


def test_json_is_answered_by_cookie(browser: Browser) -> None:
    """What changes nothing is answered as it is; what changes something needs the form token in the header."""
    assert 200 == browser.client.get("/standing").status_code
    for headers in ({}, {"x-form-token": "0" * 64}, {"x-form-token": "none"}):
        answer = said(browser, "H-1", **headers)
        assert (403, "x-form-token") == (answer.status_code, answer.json()["where"])
    assert 201 == said(browser, "H-1", **{"x-form-token": token_of(browser)}).status_code


def test_a_token_in_the_body_counts_for_pages_alone(browser: Browser) -> None:
    """A form that another site sends to a JSON address is refused, even if it held the token."""
    form = {"form_token": token_of(browser), "records": "[]"}
    assert 403 == browser.client.post("/submissions", data=form).status_code


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 201), ({"sec-fetch-site": "same-origin"}, 201), ({"sec-fetch-site": "none"}, 201),
        ({"sec-fetch-site": "cross-site"}, 403), ({"sec-fetch-site": "same-site"}, 403), ({"sec-fetch-site": ""}, 403),
        ({"origin": "https://evil.example"}, 403), ({"origin": "null"}, 403), ({"origin": "http://127.0.0.1:1"}, 403),
        ({"origin": "https://evil.example", "sec-fetch-site": "cross-site"}, 403), ({"origin": "own"}, 201),
        ({"origin": "own", "sec-fetch-site": "cross-site"}, 403),
    ],
)  # fmt: skip
def test_requests_of_other_sites_are_refused(
    service: Service, browser: Browser, headers: dict[str, str], status: int
) -> None:
    """With the right token even, a request that a page of another origin sent is a 403."""
    sent = {name: service.url if value == "own" else value for name, value in headers.items()}
    hold = f"H-{next(HOLDS)}"
    assert status == said(browser, hold, **{"x-form-token": token_of(browser), **sent}).status_code


@pytest.mark.parametrize("form", [{}, {"form_token": ""}, {"form_token": "0" * 64}])
def test_a_form_without_its_token_is_refused_as_a_page(browser: Browser, form: dict[str, str]) -> None:
    """A 403 page with the code, and nothing is done; the header does as well as the field."""
    answer = browser.client.post("/account/language", data={"language": "de", **form})
    assert (403, True) == (answer.status_code, "forbidden" in answer.text)
    assert answer.headers["content-type"].startswith("text/html")
    assert '<html lang="en">' in browser.open("/account").text
    headed = browser.client.post("/account/language", data={}, headers={"x-form-token": token_of(browser)})
    assert 303 == headed.status_code


def test_a_form_with_parts_says_its_token_too(browser: Browser) -> None:
    """A form with a file is read for its token and again by the page that takes it."""
    files = {"form_token": (None, token_of(browser)), "language": (None, "de")}
    assert 303 == browser.client.post("/account/language", files=files).status_code
    assert '<html lang="de">' in browser.open("/account").text


def test_a_sign_in_that_another_site_sends_is_refused(service: Service) -> None:
    """Nobody is signed in as somebody else by a page of another site."""
    stranger = Browser(service)
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "https://evil.example"}):
        answer = stranger.client.post("/sign-in", data={"name": "The quality", "password": PASSWORD}, headers=headers)
        assert (403, None) == (answer.status_code, answer.headers.get("set-cookie"))
    stranger.close()


def test_a_bearer_token_goes_before_a_cookie(service: Service, browser: Browser) -> None:
    """With a header the cookie does not count: a wrong token is a 401, the right one needs no form token."""
    wrong = {"authorization": f"Bearer {format_token(bytes(32))}"}
    assert 401 == browser.client.get("/standing", headers=wrong).status_code
    right = {"authorization": f"Bearer {service.tokens['station']}"}
    assert 201 == said(browser, "H-900", **right).status_code
    assert 403 == browser.client.get("/accounts", headers=right).status_code


def test_roles_hold_for_pages_and_json(service: Service, browser: Browser) -> None:
    """A quality lead opens neither the keeper's page nor their list."""
    assert [403, 403] == [browser.open("/people").status_code, browser.client.get("/accounts").status_code]
    assert "forbidden" in browser.open("/people").text


def test_a_session_that_was_ended_elsewhere_is_over(service: Service, browser: Browser) -> None:
    """Ended in the store, the cookie is nobody's: a page leads to sign-in, JSON is a 401."""
    account = service.book.account_of(service.tokens["quality"]).account
    end_sessions(service.book.store, account, service.book.clock_ms())
    assert [303, 401] == [browser.open("/account").status_code, browser.client.get("/standing").status_code]


def test_pages_of_a_session_are_kept_by_no_cache(service: Service, browser: Browser) -> None:
    """Pages and JSON by cookie, and the sign-in page, are no-store."""
    stranger = Browser(service)
    kept = [browser.open("/account"), browser.client.get("/standing"), stranger.open("/sign-in")]
    assert ["no-store"] * 3 == [answer.headers["cache-control"] for answer in kept]
    stranger.close()


def test_pages_stand_in_no_description_of_the_interface(service: Service) -> None:
    """The OpenAPI document names addresses for programs alone."""
    paths = service.nobody.get("/openapi.json").json()["paths"]
    assert set() == {"/sign-in", "/account", "/people", "/devices", "/enrol"} & set(paths)


def test_an_unknown_address_is_a_page_for_a_browser(service: Service, browser: Browser) -> None:
    """A 404 as HTML for who asks for HTML, as problem+json for a program."""
    answers = [browser.open("/nothing-here"), service.nobody.get("/nothing-here")]
    assert ["text/html", "application/problem+json"] == [
        answer.headers["content-type"].partition(";")[0] for answer in answers
    ]
    assert all("no-such-address" in answer.text for answer in answers)
