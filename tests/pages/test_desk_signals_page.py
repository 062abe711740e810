"""Signals in claims as pages: the look, one member with its numbers, and the way to contain it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import pytest

from tests.api.running import Service
from tests.pages.desk_service import browser_of, desk_running, entered, unit
from tests.pages.forms_sent import Browser
from tests.plant import AT


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service with a claim on each of two balls that were shipped, and a case that a signal opened."""
    with desk_running(tmp_path_factory.mktemp("signals")) as one:
        sold = {"kind": "shipment", "at": AT, "shipment": "SH-9", "units": [unit(number) for number in range(5, 9)]}
        entered(one, "quality", {**sold, "to": "SHOP-1", "purpose": "warranty"})
        for number in (5, 6):
            opened = {"kind": "claim-opened", "at": AT, "claim": f"WC-{number}", "mode": "void", "unit": unit(number)}
            entered(one, "desk", {**opened, "at": "2026-03-20T08:00:00.000+00:00"})
        body = {
            "case": "SIG-1",
            "why": "signal",
            "reason": "claims-by-shell",
            "suspect": {"sort": "shell-lot", "name": "SL-1"},
        }
        assert 201 == one["quality"].post("/cases", json=body, headers=one.key()).status_code
        yield one


@pytest.fixture
def desk(service: Service) -> Iterator[Browser]:
    """The desk's browser."""
    with browser_of(service, "desk") as browser:
        yield browser


def test_the_page_says_what_stands_and_looks_when_asked(desk: Browser) -> None:
    """Cases that a signal opened at once; the look after it, by a script or a link."""
    page = desk.open("/desk/signals").text
    assert "/containment/case/SIG-1" in page
    assert 'data-later="/desk/signals?part=yes"' in page
    whole = desk.open("/desk/signals?whole=yes").text
    assert "2 claims are counted." in whole
    assert "no proof of a cause" in whole
    assert "<html" not in desk.open("/desk/signals?part=yes").text


def test_a_member_leads_to_its_containment(desk: Browser) -> None:
    """With its curve against the rest, the claims, and their numbers; an unknown family or name is a page that says so."""
    page = desk.open("/desk/signals/shell/SL-1?whole=yes").text
    assert "Shell lot SL-1 in claims" in page
    assert "/containment?sort=shell-lot&amp;name=SL-1" in page
    for words in ("/signals/shell/SL-1/survival.svg", "/desk/signals/shell/SL-1/numbers.csv", "WC-5", "2 of 4"):
        assert words in page
    assert 404 == desk.open("/desk/signals/moon/SL-1").status_code
    assert 404 == desk.open("/desk/signals/shell/SL-NONE?whole=yes").status_code


def test_numbers_are_a_table_to_save(desk: Browser) -> None:
    """Every member a line; every point of both curves a line."""
    looked = list(csv.DictReader(io.StringIO(desk.client.get("/desk/signals/numbers.csv").text)))
    assert {("shell", "SL-1", "2")} <= {(row["family"], row["name"], row["claims"]) for row in looked}
    answer = desk.client.get("/desk/signals/shell/SL-1/numbers.csv")
    points = list(csv.DictReader(io.StringIO(answer.text)))
    assert "attachment" in answer.headers["content-disposition"]
    assert ("SL-1", "4", "2") == (points[0]["side"], points[0]["at_risk"], points[0]["claims"])


def test_a_station_sees_no_signals(service: Service) -> None:
    """They are for those who answer for quality."""
    with browser_of(service, "station") as station:
        assert 403 == station.open("/desk/signals").status_code
        assert 403 == station.client.get("/desk/signals/numbers.csv").status_code
