"""Entries as a table and one entry in words, over HTTP."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape

import pytest

from tests.api.running import Service, running
from tests.pages.forms_sent import Browser, give_password
from tests.plant import AT

BALLS = 60


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with more entries than fit on a page."""
    with running(tmp_path_factory.mktemp("entries"), balls=BALLS) as one:
        give_password(one, "auditor")
        one.say("quality", {"kind": "hold-placed", "at": AT, "hold": "H-1", "node": "lot:SL-1", "reason": "cracks"})
        yield one


@pytest.fixture
def auditor(service: Service) -> Iterator[Browser]:
    """An auditor's browser."""
    browser = Browser(service)
    browser.sign_in("The auditor")
    yield browser
    browser.close()


def indexes(page: str) -> list[int]:
    """The entries of a table, from the top."""
    return [int(index) for index in re.findall(r'href="/book/entry/(\d+)"', page)]


def test_all_entries_are_reached_by_the_links_for_older_ones(service: Service, auditor: Browser) -> None:
    """Page by page, newest first, each once, down to entry 0."""
    address, seen = "/book/entries", []
    while address:
        page = unescape(auditor.open(address).text)
        seen += indexes(page)
        address = next(iter(re.findall(r'href="([^"]+)" rel="next"', page)), "")
    assert list(reversed(range(service.book.check().entries))) == seen


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ("kind=hold-placed", 1),
        ("ball=P000007", 1),
        ("ball=U-000007&kind=inspection", 1),
        ("lot=SL-1", 50),
        ("kind=scrap", 0),
    ],
)
def test_entries_are_found_by_kind_lot_and_ball(auditor: Browser, query: str, count: int) -> None:
    """As many as there are, a page at most; where there are none the page says so."""
    page = auditor.open(f"/book/entries?{query}").text
    assert count == len(indexes(page))
    assert ("No entry says this." in page) is (count == 0)


@pytest.mark.parametrize(
    ("query", "status"),
    [("kind=nonsense", 400), ("below=-1", 404), ("below=x", 404), ("ball=%00", 200), ("lot=%F0%9F%8E%B3", 200)],
)
def test_what_cannot_be_asked_is_a_page(auditor: Browser, query: str, status: int) -> None:
    """An unknown kind or number is refused as a page; odd names find nothing."""
    answer = auditor.open(f"/book/entries?{query}")
    assert (status, True) == (answer.status_code, answer.text.startswith("<!doctype html>"))


def test_one_entry_is_what_its_json_says(service: Service, auditor: Browser) -> None:
    """Hash, fields and links to receipt and bytes; what is sealed is marked; escaped, whatever was written."""
    note = "<script>alert('x')</script>"
    said = {"kind": "hold-placed", "at": AT, "hold": "H-2", "node": "lot:SL-1", "reason": "cracks", "note": note}
    index = service.say("quality", said).json()["entry"]
    page = auditor.open(f"/book/entry/{index}").text
    entry = service["auditor"].get(f"/entries/{index}").json()

    assert note not in page
    assert note in unescape(page)
    assert entry["hash"] in page
    assert entry["entry"]["prev"] in page
    assert "sealed, may be erased" in page
    assert "The quality" in page
    assert '<a href="/lot/SL-1">lot SL-1</a>' in page
    assert "hold H-2" in page
    assert "Times in UTC" in page
    for address in (f"/receipts/{index}", f"/entries/{index}/bytes"):
        assert f'href="{address}"' in page
        assert 200 == auditor.client.get(address).status_code


@pytest.mark.parametrize("index", ["999999", "x", "-1", "9" * 40])
def test_an_entry_that_is_not_there_is_a_page(auditor: Browser, index: str) -> None:
    """It is told as not found, as a page."""
    answer = auditor.open(f"/book/entry/{index}")
    assert (404, True) == (answer.status_code, "entry is not in the book" in answer.text)
