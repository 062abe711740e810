"""A suspect contained by pages alone: two clicks to a hold, letters, answers that add up, two people to lift, the end."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, followed, path_of, send_files, unit
from tests.pages.forms_sent import Browser
from tests.plant import AT

SUSPECT = "/containment?sort=shell-lot&name=SL-1"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with eight balls of SL-1, four of them shipped."""
    with desk_running(tmp_path_factory.mktemp("containment")) as one:
        yield one


@pytest.fixture
def lead(service: Service) -> Iterator[Browser]:
    """The quality lead's browser."""
    with browser_of(service, "quality") as browser:
        yield browser


def held(service: Service, number: int = 5) -> bool:
    """Whether a ball of SL-1 that is in stock cannot be sent any more."""
    said = {
        "kind": "shipment",
        "at": AT,
        "shipment": f"SH-TRY-{number}",
        "units": [unit(number)],
        "to": "SHOP-1",
        "purpose": "sample",
    }
    answer = service.say("station", said)
    return answer.status_code == 422 and "hold" in answer.text


def test_counts_come_before_anything_is_said(service: Service, lead: Browser) -> None:
    """By place and consignee, certain and possible, adding up; nothing is entered for it."""
    before = service.book.checkpoint()
    page = lead.open(f"{SUSPECT}&whole=yes").text
    assert "Contain: shell lot SL-1" in page
    for words in ("8 balls", "8 certain, 0 possible.", "SHOP-1", "outside the register", "1 lot whole:"):
        assert words in page
    part = lead.open(f"{SUSPECT}&part=yes").text
    assert "8 certain, 0 possible." in part
    assert "<html" not in part
    assert before == service.book.checkpoint()


def test_a_suspect_that_is_not_there_is_refused_and_stays_typed(lead: Browser) -> None:
    """A week that is none beside its field; a lot that nobody made where it is counted, and where a case is opened."""
    answer = lead.open("/containment?sort=week&name=2026-W99")
    assert 400 == answer.status_code
    assert "2026-W99" == lead.found().fields["name"]["value"]
    assert 404 == lead.open("/containment?sort=shell-lot&name=SL-NONE&part=yes").status_code
    lead.open("/containment?sort=shell-lot&name=SL-NONE")
    refused = lead.send("/containment", reason="soft shells", order="stop-sale", why="found")
    assert refused.status_code in {404, 422}
    assert "soft shells" == lead.found().fields["reason"]["value"]


def test_it_takes_two_clicks_from_a_suspect_to_a_hold(tmp_path: Path) -> None:
    """The link of the lot, and the button; then nothing of it can be sent."""
    with desk_running(tmp_path) as service, browser_of(service, "quality") as lead:
        clicks = [lead.open(SUSPECT)]
        assert not held(service)
        clicks.append(lead.send("/containment", reason="soft shells", order="stop-sale", why="found"))
        assert 2 == len(clicks)
        assert "what was ordered is held" in followed(lead, clicks[-1]).text
        assert held(service, 6)
        again = lead.client.post("/containment", data={})
        assert 403 == again.status_code


def test_a_case_is_closed_when_every_ball_is_told_of(service: Service, lead: Browser) -> None:
    """Ordered as a recall, written about, answered for by phone and by file, lifted by two people, and closed."""
    lead.open(SUSPECT)
    case = path_of(lead.send("/containment", case="C-1", reason="soft shells", order="none", why="found"))
    assert "nothing ordered" in lead.open(case).text
    followed(lead, lead.send(f"{case}/order", order="recall"))
    assert held(service)
    written = followed(lead, lead.send(f"{case}/letters"))
    assert "/cases/C-1/letters/SHOP-1.pdf" in written.text
    assert 200 == lead.client.get("/cases/C-1/letters.zip").status_code
    _answer_by_phone(lead, case)
    _answer_by_file(service, lead, case)
    summed = lead.open(f"{case}?whole=yes").text
    assert "1 ball unaccounted for" in summed
    first = followed(lead, lead.send(f"{case}/lift", reason="all found"))
    assert "one person has lifted it" in first.text
    token = service.book.open_account("Second lead", ("quality",))[1]
    with service.client(token) as second:
        assert 201 == second.post("/cases/C-1/lift", json={"reason": "all-found"}, headers=service.key()).status_code
    lead.open(case)
    refused = lead.send(f"{case}/close", decision="contained", reason="all told of", unaccounted="")
    assert 422 == refused.status_code
    assert "all told of" == lead.found().fields["reason"]["value"]
    closed = followed(lead, lead.send(f"{case}/close", decision="contained", reason="all told of", unaccounted="1"))
    assert "The case is closed." in closed.text
    assert "1 ball unaccounted for" in lead.open("/containment/cases").text


def _answer_by_phone(lead: Browser, case: str) -> None:
    """SHOP-1 has two: a total that does not add up enters nothing and keeps the answers."""
    answers = f"{case}/answers/SHOP-1"
    assert "2 balls held there" in lead.open(answers).text
    said = {f"said:{unit(1)}": "in-stock", "total": "2"}
    refused = lead.send(answers, **said)
    assert 400 == refused.status_code
    assert "answers do not add up" in refused.text
    assert '<option value="in-stock" selected>' in refused.text
    done = lead.send(answers, **said, rest="sold")
    assert "The answers are entered." in followed(lead, done).text
    assert "2 of them answered for" in lead.open(answers).text


def _answer_by_file(service: Service, lead: Browser, case: str) -> None:
    """The notice list of SHOP-2 comes back with one line wrong and one right; each is told."""
    lead.open(case)
    lines = f"consignee,unit,answer\r\nSHOP-2,{unit(3)},destroyed\r\nSHOP-2,U-NONE,sold\r\n"
    answer = send_files(lead, f"{case}/answers", [("file", ("list.csv", lines.encode(), "text/csv"))])
    assert 422 == answer.status_code
    assert "1 answer is entered." in answer.text
    assert "unit U-NONE is not in the book".capitalize()[:4] in answer.text
    lead.open(case)
    wrong = send_files(lead, f"{case}/answers", [("file", ("list.csv", b"a,b\r\n1,2\r\n", "text/csv"))])
    assert 400 == wrong.status_code
    assert 1 == service["auditor"].get("/cases/C-1").json()["reconciliation"]["answers"]["destroyed"]


def test_who_may_not_contain_looks_on(service: Service) -> None:
    """The desk sees counts and takes answers; an auditor sees; a station is sent away; none has the button."""
    for role in ("desk", "auditor"):
        with browser_of(service, role) as browser:
            assert 200 == browser.open(f"{SUSPECT}&whole=yes").status_code
            assert "Open a case and hold" not in browser.page.text
    with browser_of(service, "station") as browser:
        assert 403 == browser.open(SUSPECT).status_code
    with browser_of(service, "auditor") as browser:
        assert 403 == browser.open("/containment/case/C-1/answers/SHOP-1").status_code


def test_a_case_that_is_not_there_is_a_page_that_says_so(lead: Browser) -> None:
    """404, as a page, and so for a consignee."""
    assert 404 == lead.open("/containment/case/C-NONE").status_code
    assert 404 == lead.open("/containment/consignee/NOBODY").status_code
