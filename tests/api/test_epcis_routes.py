"""Events over HTTP: for whom, in which form, and what of it is told."""

from __future__ import annotations

import pytest

from ledger.evidence.event_shapes import parse_events
from ledger.evidence.own_terms import TERMS
from tests.api.running import GTIN, STEM, Service


def test_a_serial_s_history_is_json_ld(service: Service) -> None:
    """About the ball that bears it, in the profile."""
    answer = service["auditor"].get("/epcis/serials/P000001")
    assert (200, "application/ld+json") == (answer.status_code, answer.headers["content-type"])
    assert f"{STEM}/01/{GTIN}/21/P000001" == parse_events(answer.content).subject


def test_a_lot_s_history_is_json_ld(service: Service) -> None:
    """With each ball that was made of it."""
    answer = service["quality"].get("/epcis/lots/SL-1")
    assert (200, "application/ld+json") == (answer.status_code, answer.headers["content-type"])
    assert all(f"/21/P00000{number}".encode() in answer.content for number in (1, 2, 3))
    parse_events(answer.content)


def test_suppliers_and_quantities_are_told_where_they_are_asked_for(service: Service) -> None:
    """To the same people, by their own decision."""
    plain, opened = (
        service["quality"].get("/epcis/serials/P000001", params=params).text for params in ({}, {"opened": "withheld"})
    )
    assert (False, True) == ("A supplier" in plain, "A supplier" in opened)


@pytest.mark.parametrize("path", ["/epcis/serials/P000001", "/epcis/lots/SL-1"])
def test_events_are_for_those_who_hand_dossiers_over(service: Service, path: str) -> None:
    """Quality and the auditor; nobody who is not signed in."""
    assert [200, 200] == [service[role].get(path).status_code for role in ("quality", "auditor")]
    assert {403} == {service[role].get(path).status_code for role in ("station", "inspector", "desk", "admin")}
    assert 401 == service.nobody.get(path).status_code


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/epcis/serials/P404404", 404),
        ("/epcis/lots/SL-404", 404),
        ("/epcis/serials/P000001?opened=everything", 400),
        ("/epcis/lots/SL-1?surprise=1", 400),
        ("/epcis/balls/P000001", 404),
    ],
)
def test_what_is_not_there_is_refused(service: Service, path: str, status: int) -> None:
    """An unknown number or lot, a wish that is none."""
    assert status == service["auditor"].get(path).status_code


def test_anyone_may_ask_what_a_word_means(service: Service) -> None:
    """All of them, or the one that an address names."""
    assert TERMS == service.nobody.get("/terms").json()
    assert {"final-cure": TERMS["final-cure"]} == service.nobody.get("/terms/final-cure").json()
    assert 404 == service.nobody.get("/terms/no-such-word").status_code
