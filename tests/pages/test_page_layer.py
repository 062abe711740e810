"""What every page has in common: escaping, its language, English marked as such, and what caches may do with it."""

from __future__ import annotations

from collections.abc import Iterator
from html import unescape

import pytest

from api.pages.page import english
from tests.api.running import GTIN, Service, running
from tests.pages.forms_sent import Browser, give_password

HTML = {"accept": "text/html"}
SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service where the quality lead has a password."""
    with running(tmp_path_factory.mktemp("layer"), balls=1, public_per_minute=60_000, public_burst=10_000) as one:
        give_password(one, "quality")
        yield one


@pytest.fixture
def lead(service: Service) -> Iterator[Browser]:
    """The quality lead's browser."""
    browser = Browser(service)
    browser.sign_in("The quality")
    yield browser
    browser.close()


def test_what_was_asked_is_never_markup(service: Service, lead: Browser) -> None:
    """Text of an address or a form comes back escaped, wherever it is shown."""
    pages = [
        service.nobody.get(f"/01/{GTIN}/21/P000001", params={"x": SCRIPT}, headers=HTML),
        service.nobody.get(f"/{SCRIPT}", headers=HTML),
        lead.open(f"/book/entries?kind={SCRIPT}"),
        lead.open(f"/book/entries?lot={SCRIPT}&ball={SCRIPT}"),
        lead.open(f"/book/entry/{SCRIPT}"),
        lead.open(f"/book/check/{SCRIPT}"),
    ]
    lead.open("/book")
    pages.append(lead.send("/book/compare", checkpoint=f"</textarea>{SCRIPT}"))
    for page in pages:
        assert SCRIPT not in page.text
        assert page.text.startswith("<!doctype html>")
    assert SCRIPT in unescape(pages[-1].text)


def test_the_language_is_chosen_accepted_or_english(service: Service) -> None:
    """A browser's wish, then the reader's choice, which is kept; both are told in the page's lang."""
    assert '<html lang="en">' in service.nobody.get("/", headers=HTML).text
    assert '<html lang="de">' in service.nobody.get("/", headers={**HTML, "accept-language": "de"}).text
    browser = Browser(service)
    chosen = browser.open("/language/de?next=/problems/refused")
    assert (303, "/problems/refused") == (chosen.status_code, chosen.headers["location"])
    assert '<html lang="de">' in browser.open("/", **{"accept-language": "en"}).text
    assert (404, "/") == (
        browser.open("/language/xx").status_code,
        browser.open("/language/en?next=https://elsewhere.example/").headers["location"],
    )
    browser.close()


def test_what_the_book_says_in_english_is_marked_as_such(service: Service) -> None:
    """On a German page an English text bears its language (WCAG 2.2, 3.1.2), on an English page it needs no mark."""
    german = service.nobody.get("/problems/rule-stands", headers={**HTML, "accept-language": "de"}).text
    assert '<h1><span lang="en">' in german
    assert '<span lang="en">' not in service.nobody.get("/problems/rule-stands", headers=HTML).text
    assert '<span lang="en">a &lt; b</span>' == str(english("a < b", "de"))
    assert "a &lt; b" == str(english("a < b", "en"))


def test_no_cache_keeps_a_page_of_an_account(service: Service, lead: Browser) -> None:
    """A page of an account is stored nowhere; every page says by what it differs."""
    own = lead.open("/book")
    assert "no-store" == own.headers["cache-control"]
    for page in (own, service.nobody.get("/", headers=HTML)):
        assert "Accept, Accept-Language, Cookie" == page.headers["vary"]


def test_a_page_that_is_not_there_is_a_page(service: Service) -> None:
    """A browser gets words and a way on, a program a problem document."""
    page = service.nobody.get("/nothing/here", headers=HTML)
    assert (404, True) == (page.status_code, 'href="/"' in page.text)
    assert "application/problem+json" == service.nobody.get("/nothing/here").headers["content-type"]
