"""Sign-in by another party, against a real OpenID provider over HTTP: who is let in, and every answer that is not taken."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from joserfc import jwk, jwt

from api.pages.access.provider import Provider
from api.pages.access.vouched import vouched_name
from api.settings import Settings
from ledger.errors import MalformedInput, Unauthenticated, Unsupported
from ledger.store.accounts import add_account, close_account
from tests.api.running import Service, running
from tests.pages.forms_sent import Browser
from tests.pages.openid_provider import CLIENT, SECRET, OpenIdProvider, openid_provider

BACK = "/sign-in/oidc/back"


def served(folder: Path, issuer: str) -> AbstractContextManager[Service]:
    """A running service where people may sign in by a provider."""
    secret = folder / "client.secret"
    secret.write_text(f"{SECRET}\n", "utf-8")
    return running(
        folder,
        oidc_issuer=issuer,
        oidc_client_id=CLIENT,
        oidc_client_secret_file=str(secret),
        public_per_minute=60_000,
        public_burst=10_000,
    )


@pytest.fixture(scope="module")
def vouching() -> Iterator[OpenIdProvider]:
    """The provider of this module."""
    with openid_provider() as one:
        yield one


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory, vouching: OpenIdProvider) -> Iterator[Service]:
    """A running service that asks it."""
    with served(tmp_path_factory.mktemp("vouched"), vouching.issuer) as one:
        yield one


@pytest.fixture
def provider(vouching: OpenIdProvider) -> Iterator[OpenIdProvider]:
    """The provider, honest at first and afterwards."""
    vouching.reset()
    yield vouching
    vouching.reset()


@pytest.fixture
def browser(service: Service) -> Iterator[Browser]:
    """A browser where nobody is signed in."""
    opened = Browser(service)
    yield opened
    opened.close()


def sent_back(browser: Browser, wanted: str = "/devices") -> str:
    """Go to the provider, let it vouch; where it sends the browser back to."""
    away = browser.open(f"/sign-in/oidc?next={wanted}")
    assert 303 == away.status_code
    assert {"httponly", "samesite=lax", "path=/", "max-age=600"} == {
        part.lower() for part in away.headers["set-cookie"].split("; ")[1:]
    }
    vouched = httpx.get(away.headers["location"])
    assert 302 == vouched.status_code
    address = urlsplit(vouched.headers["location"])
    assert BACK == address.path
    return f"{address.path}?{address.query}"


def refused(browser: Browser, address: str | None = None) -> int:
    """Come back; the status of the refusal, after which nobody is signed in and the round is over."""
    answer = browser.open(sent_back(browser) if address is None else address)
    assert 'class="refused" role="alert"' in answer.text
    assert {} == dict(browser.client.cookies)
    return answer.status_code


def test_a_person_is_let_in_whom_the_provider_names(service: Service, browser: Browser) -> None:
    """The button leads there, the way back leads on to the page wanted, with the roles of the account of that name."""
    assert "Sign in by 127.0.0.1" in browser.open("/sign-in?next=/devices").text
    answer = browser.open(sent_back(browser))
    assert (303, "/devices") == (answer.status_code, answer.headers["location"])
    assert [200, 403] == [browser.open(page).status_code for page in ("/devices", "/people")]
    assert {"pourbook"} == set(browser.client.cookies)


def test_an_answer_counts_once(provider: OpenIdProvider, browser: Browser) -> None:
    """The same way back a second time is refused, as the provider's code and the browser's round are used up."""
    address = sent_back(browser)
    assert 303 == browser.open(address).status_code
    browser.client.cookies.clear()
    assert 401 == refused(browser, address)


def test_an_answer_counts_in_the_browser_that_asked_alone(service: Service, browser: Browser) -> None:
    """A way back that was sent to somebody else signs nobody in."""
    address = sent_back(browser)
    other = Browser(service)
    assert 401 == refused(other, address)
    other.open("/sign-in/oidc")
    assert 401 == refused(other, address)
    other.close()


@pytest.mark.parametrize("query", ["", "code=x", "state=x", "code=x&state=x", "error=access_denied&state=x"])
def test_another_state_or_no_code_is_refused(browser: Browser, query: str) -> None:
    """Whatever comes back without this browser's state is refused without asking the provider."""
    sent_back(browser)
    assert 401 == refused(browser, f"{BACK}?{query}")


@pytest.mark.parametrize(
    "claims",
    [
        {"nonce": "another"}, {"nonce": None}, {"exp": 1}, {"exp": None}, {"exp": "never"}, {"iat": 10**11}, {"iat": None},
        {"nbf": 10**11}, {"iss": "https://evil.example"}, {"iss": None}, {"aud": "another"}, {"aud": []}, {"aud": None},
        {"aud": [CLIENT, "another"]}, {"azp": "another"}, {"sub": None}, {"sub": ""}, {"exp": True},
    ],
)  # fmt: skip
def test_a_token_that_does_not_fit_is_refused(
    provider: OpenIdProvider, browser: Browser, claims: dict[str, Any]
) -> None:
    """Another nonce, a token that is over or not yet begun, of another issuer or for another client."""
    provider.claims |= claims
    assert 401 == refused(browser)


def test_a_token_for_several_with_this_client_as_its_party_is_taken(provider: OpenIdProvider, browser: Browser) -> None:
    """Several audiences are right where the authorised party is this client (OpenID Connect Core 3.1.3.7, 4 and 5)."""
    provider.claims |= {"aud": ["another", CLIENT], "azp": CLIENT}
    assert 303 == browser.open(sent_back(browser)).status_code


def test_a_token_signed_by_another_key_is_refused(provider: OpenIdProvider, browser: Browser) -> None:
    """Under the id of a published key, and under one that is published nowhere."""
    private = provider.second.as_dict(private=True)
    for kid in ("one", "three"):
        provider.key = jwk.RSAKey.import_key({**private, "kid": kid})
        assert 401 == refused(browser)


def test_a_token_without_a_signature_or_by_the_clients_secret_is_refused(
    provider: OpenIdProvider, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``none`` and a MAC over what everyone knows are no signatures of the issuer."""
    header = "eyJhbGciOiJub25lIn0"
    whole = provider.id_token("x").split(".")
    mac = jwt.encode({"alg": "HS256"}, {"sub": "s-1"}, jwk.OctKey.import_key(SECRET.encode().ljust(32)))
    for token in (f"{header}.{whole[1]}.", mac, "a.b.c", "", ".".join(whole[:2])):
        monkeypatch.setattr(provider, "id_token", lambda _nonce, token=token: token)
        assert 401 == refused(browser)


@pytest.mark.parametrize("answer", [b"", b"[]", b"{}", b'{"id_token": 5}', b"<html>", b'"' + b"x" * 1_100_000 + b'"'])
def test_a_token_answer_that_is_none_is_refused(provider: OpenIdProvider, browser: Browser, answer: bytes) -> None:
    """No JSON, no object, no token, and more than is read."""
    provider.answers_token = answer
    assert 401 == refused(browser)


def test_a_new_key_is_fetched_when_it_is_first_used(provider: OpenIdProvider, browser: Browser) -> None:
    """The provider changed its key since: its keys are asked for once more, and then known."""
    assert 303 == browser.open(sent_back(browser)).status_code
    before = provider.keys_asked
    provider.key = provider.second
    provider.published = [provider.first, provider.second]
    for _ in range(2):
        browser.client.cookies.clear()
        assert 303 == browser.open(sent_back(browser)).status_code
    assert before + 1 == provider.keys_asked


@pytest.mark.parametrize("name", ["Nobody", "", None, 5, "The quality lead"])
def test_no_account_is_made_by_it(service: Service, provider: OpenIdProvider, browser: Browser, name: Any) -> None:
    """A name that no account has, and an answer without a name, let nobody in."""
    provider.claims["preferred_username"] = name
    assert 403 == refused(browser)


def test_two_accounts_of_one_name_let_nobody_in(service: Service, provider: OpenIdProvider, browser: Browser) -> None:
    """It is not known which is meant; when one is closed the other is."""
    store = service.book.store
    namesake = add_account(store, "THE QUALITY", ["admin"], 5).account
    assert 403 == refused(browser)
    close_account(store, namesake, 6)
    assert 303 == browser.open(sent_back(browser)).status_code


def test_the_way_on_is_an_address_of_this_service(provider: OpenIdProvider, browser: Browser) -> None:
    """Another host wanted at the beginning leads to the front page at the end."""
    answer = browser.open(sent_back(browser, "//evil.example"))
    assert (303, "/") == (answer.status_code, answer.headers["location"])


def test_a_provider_that_is_another_is_told(tmp_path: Path, provider: OpenIdProvider) -> None:
    """Of another issuer than it should be, it is a 502 with the form for name and password, until it is right again."""
    with served(tmp_path, provider.issuer) as service:
        browser = Browser(service)
        told, provider.issuer = provider.issuer, "https://another.example"
        answer = browser.open("/sign-in/oidc")
        provider.issuer = told
        assert (502, True) == (answer.status_code, "did not let you in" in answer.text)
        assert 303 == browser.open("/sign-in/oidc").status_code
        browser.close()


def test_the_request_is_bound_to_the_answer(provider: OpenIdProvider, browser: Browser) -> None:
    """The code flow with PKCE S256, a state and a nonce that no two rounds share, and nothing secret in the address."""
    asked = [parse_qs(urlsplit(browser.open("/sign-in/oidc").headers["location"]).query) for _ in range(2)]
    assert (["code"], ["S256"], [CLIENT]) == tuple(
        asked[0][name] for name in ("response_type", "code_challenge_method", "client_id")
    )
    for name in ("state", "nonce", "code_challenge"):
        assert asked[0][name] != asked[1][name]
    assert SECRET not in str(asked)


def test_without_a_provider_there_is_no_button_and_no_way(tmp_path: Path) -> None:
    """The sign-in page offers name and password alone, and the address is not found."""
    with running(tmp_path) as service:
        browser = Browser(service)
        assert "oidc" not in browser.open("/sign-in").text
        assert [404, 404] == [browser.open(address).status_code for address in ("/sign-in/oidc", BACK)]
        browser.close()


def test_an_address_of_mail_counts_only_when_verified() -> None:
    """As the name's claim it needs ``email_verified``; other claims do not."""
    claims = {"email": "ann@plant.test", "preferred_username": "Ann"}
    assert "Ann" == vouched_name(claims, "preferred_username")
    assert "ann@plant.test" == vouched_name({**claims, "email_verified": True}, "email")
    for verified in ({}, {"email_verified": False}, {"email_verified": "true"}):
        with pytest.raises(Unauthenticated):
            vouched_name({**claims, **verified}, "email")


def test_settings_that_cannot_be() -> None:
    """An issuer without a client, or over plain http to another machine, is refused before anything is served."""
    with pytest.raises(MalformedInput, match="OIDC_CLIENT_ID"):
        Settings.from_env({"POURBOOK_OIDC_ISSUER": "https://id.plant.test"})
    with pytest.raises(Unsupported, match="https"):
        Provider("http://id.plant.test", CLIENT, SECRET, clock_s=time.time)
