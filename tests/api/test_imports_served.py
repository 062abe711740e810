"""Files imported over HTTP: tried, at work in the background, told line by line."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from typing import Any

import pytest

from tests.api.running import Service, running
from tests.application.import_files import BALLS, BALLS_REFUSED, csv_of

CSV = {"content-type": "text/csv"}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service of this module's own: it takes in many balls."""
    with running(tmp_path_factory.mktemp("service")) as one:
        yield one


def told(answer: Any) -> list[dict[str, str]]:
    """The lines of an answer."""
    assert 200 == answer.status_code
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


def imported(service: Service, raw: bytes, what: str) -> dict[str, Any]:
    """Send a file, and ask how far it is until nobody is at work."""
    begun = service["quality"].post("/imports", params={"what": what}, content=raw, headers=CSV)
    assert 202 == begun.status_code
    standing: dict[str, Any] = begun.json()
    while standing.get("at_work"):
        standing = service["quality"].get(f"/imports/{standing['file']}", params={"what": what}).json()
    return standing


def test_a_dry_run_and_the_run_say_the_same(service: Service) -> None:
    """The dry run stores nothing; the run tells how far it is, and its lines have the same verdicts."""
    raw, digest = BALLS.encode(), hashlib.sha256(BALLS.encode()).hexdigest()
    quality = service["quality"]
    tried = told(quality.post("/imports/dry-run", params={"what": "balls"}, content=raw, headers=CSV))
    assert 404 == quality.get(f"/imports/{digest}", params={"what": "balls"}).status_code
    standing = imported(service, raw, "balls")
    lines = told(quality.get(f"/imports/{digest}/lines", params={"what": "balls"}))

    assert (13, 13, 4, 9) == tuple(standing[name] for name in ("lines", "done", "accepted", "refused"))
    assert "stopped" not in standing
    assert [(one["line"], one["outcome"], one["code"], one["reason"]) for one in tried] == [
        (one["line"], one["outcome"], one["code"], one["reason"]) for one in lines
    ]
    assert len(BALLS_REFUSED) == sum(one["outcome"] == "refused" for one in lines)
    (found,) = [one for one in quality.get("/imports").json()["files"] if one["file"] == digest]
    assert (4, 9) == (found["accepted"], found["refused"])


def test_a_file_sent_again_enters_nothing(service: Service) -> None:
    """The same answer, and the book no longer than before."""
    raw = csv_of(["made_on", "serial"], *(["2001-01-01", f"A{n}"] for n in range(250)))
    first = imported(service, raw, "balls")
    size = service.book.checkpoint().split(b"\n")[1]
    assert first == imported(service, raw, "balls")
    assert size == service.book.checkpoint().split(b"\n")[1]
    assert 2 == service["desk"].get("/find", params={"serial": "A24?", "listed": 1, "model": "M1"}).json()["count"] + 2
    assert 10 == service["desk"].get("/find", params={"serial": "A23?", "alike": "false"}).json()["count"]


def test_an_old_claim_over_http(service: Service) -> None:
    """The desk imports claims, and not balls."""
    raw = csv_of(["claim", "opened_on", "mode", "serial"], ["OLD-1", "2010-01-05", "void", "NOBODYS"])
    assert 403 == service["desk"].post("/imports", params={"what": "balls"}, content=raw, headers=CSV).status_code
    assert 1 == imported(service, raw, "claims")["accepted"]
    lines = told(service["desk"].get(f"/imports/{hashlib.sha256(raw).hexdigest()}/lines", params={"what": "claims"}))
    assert ["claim-foreign-number"] == [one["code"] for one in lines]


def test_a_file_that_cannot_be_read_is_a_problem(service: Service) -> None:
    """An unknown column is named, with those that there are; an unknown sort and file are their own answers."""
    raw = csv_of(["made_on", "colour"], ["2001-01-01", "red"])
    for path in ("/imports", "/imports/dry-run"):
        answer = service["quality"].post(path, params={"what": "balls"}, content=raw, headers=CSV)
        assert (400, "line 1") == (answer.status_code, answer.json()["where"])
        assert "colours" in answer.json()["detail"]
    assert 400 == service["quality"].post("/imports", params={"what": "drums"}, content=raw, headers=CSV).status_code
    assert 404 == service["quality"].get("/imports/ab/lines", params={"what": "balls"}).status_code
    assert 401 == service.nobody.post("/imports", params={"what": "balls"}, content=raw, headers=CSV).status_code
