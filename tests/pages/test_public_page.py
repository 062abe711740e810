"""The public page of a label: short, in the reader's language, nothing internal, and limited by address."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from tests.api.running import GTIN, Service, running
from tests.plant import AT

HTML = {"accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}
GERMAN = {**HTML, "accept-language": "de-AT,de;q=0.9,en;q=0.5"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with two balls, one of them held by a recall."""
    with running(tmp_path_factory.mktemp("public"), balls=2, public_per_minute=60_000, public_burst=10_000) as one:
        said = {
            "kind": "hold-placed",
            "at": AT,
            "hold": "H-1",
            "node": "unit:U-000002",
            "reason": "cracks",
            "recall": True,
        }
        assert 201 == one.say("quality", said).status_code
        yield one


def words(page: str) -> str:
    """The text of a page, as it is read."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_a_number_is_told_in_the_readers_language(service: Service) -> None:
    """Issued or not, model, class, day, status and how to check, in English and German, marked as such."""
    english = service.nobody.get(f"/01/{GTIN}/21/P000001", headers=HTML)
    german = service.nobody.get(f"/01/{GTIN}/21/P000001", headers=GERMAN)
    assert '<html lang="en">' in english.text
    assert '<html lang="de">' in german.text
    for told in (
        "number issued by us",
        "Plant Model one",
        "15 lb",
        "2 Mar 2026",
        "in production",
        "A label can be copied.",
    ):
        assert told in words(english.text)
    for told in ("Nummer von uns vergeben", "2. März 2026", "in der Fertigung", "Ein Etikett lässt sich kopieren."):
        assert told in words(german.text)
    assert {"Accept", "Accept-Language"} <= {part.strip() for part in english.headers["vary"].split(",")}


def test_an_unknown_number_and_another_product_are_told_alike(service: Service) -> None:
    """Neither says more than that the number was not issued under this product."""
    other = "09521234543206"
    for address in (f"/01/{GTIN}/21/P404404", f"/01/{other}/21/P000001"):
        said = words(service.nobody.get(address, headers=HTML).text)
        assert "unknown number: not issued by us under this product" in said
        assert "Model one" not in said
    assert "unbekannte Nummer" in service.nobody.get(f"/01/{GTIN}/21/P404404", headers=GERMAN).text


def test_a_recalled_ball_says_whom_to_ask_and_not_why(service: Service) -> None:
    """The maker is to be asked; reason, hold, lot and station are told nowhere."""
    page = service.nobody.get(f"/01/{GTIN}/21/P000002", headers=HTML).text
    assert "held by the maker: ask the maker" in page
    for inner in ("cracks", "H-1", "SL-1", "E1", "U-000002", "MT-1", "G1"):
        assert not re.search(rf"\b{inner}\b", page), inner


def test_nothing_of_the_menu_is_on_it(service: Service) -> None:
    """Nobody who scans a label is shown where staff sign in, or what their pages are."""
    page = service.nobody.get(f"/01/{GTIN}/21/P000001", headers=HTML).text
    assert "/sign-in" not in page
    assert "<nav" not in page
    assert len(page.encode()) < 4_000


def test_an_address_that_is_no_label_is_a_page(service: Service) -> None:
    """A browser gets its refusal as a page, a program as a problem."""
    assert (400, True) == (
        (page := service.nobody.get("/01/1234/21/X", headers=HTML)).status_code,
        page.text.startswith("<!doctype html>"),
    )
    assert "application/problem+json" == service.nobody.get("/01/1234/21/X").headers["content-type"]


def test_too_many_requests_are_told_how_long_to_wait(tmp_path: Path) -> None:
    """The page says in words what Retry-After says, in the reader's language."""
    with running(tmp_path, public_burst=1, public_per_minute=1) as service:
        address = f"/01/{GTIN}/21/P1"
        assert 200 == service.nobody.get(address, headers=HTML).status_code
        english, german = (service.nobody.get(address, headers=headers) for headers in (HTML, GERMAN))
        problem = service.nobody.get(address)
    for answer, told in ((english, "Wait {} seconds, then ask again."), (german, "Warten Sie {} Sekunden")):
        assert 429 == answer.status_code
        assert told.format(answer.headers["retry-after"]) in words(answer.text)
    assert "application/problem+json" == problem.headers["content-type"]
