"""One gauge over HTTP."""

from __future__ import annotations

import pytest

from tests.api.running import Service
from tests.plant import AT

STUDY = {
    "kind": "gauge-studied", "at": AT, "gauge": "G1", "unit": "lb", "parts": ["P-1", "P-2"],
    "operators": ["OP-1", "OP-2"], "trials": 2, "pooled": False,
    "readings": [[["15.00", "15.10"], ["15.02", "15.12"]], [["15.01", "15.11"], ["15.03", "15.13"]]],
}  # fmt: skip


def test_a_gauge_with_its_study_and_budgets(service: Service) -> None:
    """The register's line, the calibration, the study's figures, and budgets of one reading and of as many as asked."""
    assert 201 == service.say("inspector", STUDY).status_code
    asked: dict[str, str | int] = {"readings": 3, "rulebook": "usbc-2026", "requirement": "usbc.weight"}
    found = service["station"].get("/gauges/G1", params=asked).json()
    assert ("G1", True) == (found["gauge"]["gauge"], found["gauge"]["usable"])
    assert ["0.01"] == [one["expanded"] for one in found["calibrations"]]
    [study] = found["studies"]
    assert ["EV", "AV", "INT", "GRR", "PV", "TV"] == [one["id"] for one in study["report"]["shares"]]
    assert [1, 3] == [one["readings"] for one in found["budgets"]]
    assert {"term", "type", "u", "sensitivity", "dof"} <= set(found["budgets"][0]["budget"][0])
    assert found["says"]


@pytest.mark.parametrize(
    ("path", "asked", "status", "where"),
    [
        ("/gauges/NONE", {}, 404, "gauge"),
        ("/gauges/G1", {"readings": "0"}, 400, "readings"),
        ("/gauges/G1", {"colour": "red"}, 400, "colour"),
        ("/gauges/G1", {"rulebook": "usbc-2026", "requirement": "no.such"}, 404, "requirement"),
        ("/gauges/G1", {"rulebook": "usbc-2026"}, 400, "requirement"),
    ],
)
def test_what_cannot_be_answered(service: Service, path: str, asked: dict[str, str], status: int, where: str) -> None:
    """A problem that names the field and the mend."""
    answer = service["quality"].get(path, params=asked)
    assert (status, where) == (answer.status_code, answer.json()["where"])
    assert answer.json()["mend"]


def test_without_a_token(service: Service) -> None:
    """An account is needed."""
    assert 401 == service.nobody.get("/gauges/G1").status_code
