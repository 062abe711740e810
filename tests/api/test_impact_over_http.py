"""What changes when ..., asked over HTTP."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.api.running import Service, running
from tests.plant import AT

LATER = "2026-03-05T08:00:00.000+00:00"


@pytest.fixture(scope="module")
def doubted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """Three balls weighed at 15.05 lb with a gauge that was found to read a pound too little; one left, one was corrected."""
    with running(tmp_path_factory.mktemp("doubted"), balls=3) as service:
        sent = {"kind": "shipment", "at": AT, "shipment": "SH-1", "units": ["U-000002"], "purpose": "sample"}
        wrong = {"kind": "gauge-calibrated", "at": LATER, "gauge": "G1", "as_found_good": False, "as_found": "-1"}
        assert 201 == service.say("quality", {**sent, "consignee": "A shop in a town"}).status_code
        assert 201 == service.say("quality", {**wrong, "due_at": "2027-03-05T08:00:00.000+00:00"}).status_code
        history = service["quality"].get("/balls/U-000003").json()["history"]
        fact = next(told["fact"] for told in history if told["kind"] == "inspection")
        reading = {"quantity": "mass", "unit": "lb", "values": ["16.5"], "gauge": "G1"}
        again = {"kind": "inspection", "at": AT, "unit": "U-000003", "station": "E1", "readings": [reading]}
        fix = {"kind": "correction", "at": LATER, "reason": "typing", "changes": [{"fact": fact, "replacement": again}]}
        assert 201 == service.say("quality", fix).status_code
        yield service


def answered(service: Service, question: str, **asked: Any) -> dict[str, Any]:
    """The answer as the auditor gets it."""
    response = service["auditor"].get(f"/impact/{question}", params={"rulebook": "usbc-2026", **asked})
    assert 200 == response.status_code, response.text
    found: dict[str, Any] = response.json()
    return found


def test_the_rule_changes(doubted: Service) -> None:
    """The balls of a selection under another edition, with both sides named, and the caution."""
    found = answered(doubted, "rules", against="usbc-2012", state="engraved", listed=5)
    assert (2, "usbc-2026", "usbc-2012") == (found["balls"], found["before"]["rulebook"], found["after"]["rulebook"])
    assert found["change"]["changed"] == len(found.get("listed", ()))
    assert "no" in found["caution"]
    assert "approval" in found["caution"]
    dated = answered(doubted, "rules", made_on="2018-05-01", event_on="2026-09-01")
    assert ("2018-05-01", "2026-09-01") == (dated["after"]["made_on"], dated["after"]["event_on"])


def test_the_gauge_was_wrong(doubted: Service) -> None:
    """All three balls are behind it; without the bias each is too heavy, and where they are is told without the consignee."""
    found = answered(doubted, "gauge", gauge="G1", listed=5)
    assert (3, "-1") == (found["balls"], found["bias"])
    assert {"U-000001", "U-000002"} <= {one["ball"]["unit"] for one in found["listed"]}
    assert 2 == found["shifted"]["quantities"]["mass"]["conforms"]["does_not_conform"]
    assert [("SH-1", 1)] == [(one["shipment"], one["balls"]) for one in found["where"]["shipments"]]
    assert "A shop" not in str(found)
    assert 0 == answered(doubted, "gauge", gauge="G1", bias="0")["shifted"]["changed"]


def test_a_correction_landed(doubted: Service) -> None:
    """By the corrected fact: the ball, its reading before and now."""
    history = doubted["quality"].get("/balls/U-000003").json()["history"]
    fact = next(told["fact"] for told in history if told["kind"] == "inspection")
    found = answered(doubted, "correction", fact=fact, listed=5)
    reading = found["listed"][0]["readings"][0]
    assert ("15.05", "16.5") == (reading["before"]["value"], reading["after"]["value"])
    assert (1, fact) == (found["balls"], found["facts"][0]["fact"])


@pytest.mark.parametrize(
    ("question", "asked", "status", "where"),
    [
        ("rules", {}, 400, "against"),
        ("rules", {"against": "usbc-1066"}, 404, "rulebook"),
        ("rules", {"made_on": "2026-02-30"}, 400, "made_on"),
        ("rules", {"against": "pba", "weather": "fair"}, 400, "weather"),
        ("gauge", {"gauge": "G-NONE"}, 404, "gauge"),
        ("gauge", {"gauge": "G1", "found": "0.0"}, 404, "found"),
        ("gauge", {"gauge": "G1", "bias": "one"}, 400, "bias"),
        ("correction", {"fact": "9999.0"}, 404, "fact"),
        ("correction", {"fact": "0.0"}, 404, "fact"),
        ("correction", {}, 400, "fact"),
    ],
)
def test_what_cannot_be_answered_is_a_problem(
    doubted: Service, question: str, asked: dict[str, str], status: int, where: str
) -> None:
    """The status, and the field that is in the way."""
    response = doubted["quality"].get(f"/impact/{question}", params={"rulebook": "usbc-2026", **asked})
    problem = response.json()
    assert (status, where) == (problem["status"], problem.get("where")), problem
    assert "application/problem+json" == response.headers["content-type"]


def test_only_those_who_judge_may_ask(doubted: Service) -> None:
    """A station may not, and nobody without a token."""
    for question in ("rules", "gauge", "correction"):
        assert 403 == doubted["station"].get(f"/impact/{question}").status_code
        assert 401 == doubted.nobody.get(f"/impact/{question}").status_code
