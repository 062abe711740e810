"""Files taken over by the page: tried without a trace, entered line by line, and told of afterwards."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, path_of, send_files
from tests.pages.forms_sent import Browser

PAGE = "/desk/imports"
CLAIMS = b"claim,opened_on,mode,serial\r\nOLD-1,2026-03-05,void,P000001\r\nOLD-2,2026-03-06,no-such-mode,P000002\r\n"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service."""
    with desk_running(tmp_path_factory.mktemp("imports"), balls=4) as one:
        yield one


@pytest.fixture
def desk(service: Service) -> Iterator[Browser]:
    """The desk's browser."""
    with browser_of(service, "desk") as browser:
        browser.open(PAGE)
        yield browser


def file(raw: bytes = CLAIMS) -> list[tuple[str, tuple[str, bytes, str]]]:
    """The field of the file."""
    return [("file", ("old.csv", raw, "text/csv"))]


def test_a_file_is_tried_in_words_line_by_line(service: Service, desk: Browser) -> None:
    """How many would be entered, and why the others would not; nothing is stored."""
    before = service.book.checkpoint()
    page = send_files(desk, PAGE, file(), what="claims", act="try").text
    assert "1 of 2 lines would be entered, 1 refused." in page
    assert "no failure mode of the trade" in page
    assert before == service.book.checkpoint()
    assert "Nothing was stored." in page


def test_a_file_that_is_none_is_refused_and_its_sort_stays_chosen(desk: Browser) -> None:
    """No file, a head that nobody knows, and lines that the role may not say."""
    missing = send_files(desk, PAGE, [], what="claims", act="import")
    assert 400 == missing.status_code
    assert "true" == desk.found().fields["file"]["aria-invalid"]
    desk.open(PAGE)
    wrong = send_files(desk, PAGE, file(b"moon,sun\r\n1,2\r\n"), what="claims", act="try")
    assert 400 == wrong.status_code
    assert '<option value="claims" selected>' in wrong.text
    desk.open(PAGE)
    assert 403 == send_files(desk, PAGE, file(), what="balls", act="import").status_code


def test_a_file_is_taken_over_and_each_line_told_of(service: Service, desk: Browser) -> None:
    """The same verdict as the trial; sent again it enters nothing twice."""
    page = path_of(send_files(desk, PAGE, file(), what="claims", act="import"))
    told = wait_until_told(desk, f"{page}?what=claims")
    assert "Every line was told of." in told
    assert "no failure mode of the trade" in told
    desk.open(PAGE)
    assert page == path_of(send_files(desk, PAGE, file(), what="claims", act="import"))
    wait_until_told(desk, f"{page}?what=claims")
    assert 200 == service["desk"].get("/claims/OLD-1").status_code
    assert page in desk.open(PAGE).text
    assert 404 == desk.open(f"{PAGE}/{'0' * 64}?what=claims").status_code


def wait_until_told(browser: Browser, address: str) -> str:
    """Look again until the file is no longer at work."""
    for _ in range(600):
        page = browser.open(address).text
        if "data-at-work" not in page:
            return page
    raise AssertionError("the file was at work for too long")


def test_each_role_is_offered_what_it_may_say(service: Service) -> None:
    """The line takes over shipments; an auditor nothing."""
    with browser_of(service, "station") as station:
        page = station.open(PAGE).text
        assert 'value="shipments"' in page
        assert 'value="claims"' not in page
    with browser_of(service, "auditor") as auditor:
        assert 403 == auditor.open(PAGE).status_code
