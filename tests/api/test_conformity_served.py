"""Conformity over HTTP: a selection in figures, one ball with its reasons, and all as a table in a file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

import pytest

from ledger.conformity.outcome import CAUTION
from tests.api.running import Service, engraved, running


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A service whose book holds three balls, one too heavy. Long answers are made in a process of their own."""
    with running(tmp_path_factory.mktemp("judged"), long_reads=1) as service:
        for number, mass in enumerate(("15.05", "16.02", "15.9"), 1):
            readings = [
                {"quantity": "mass", "unit": "lb", "values": [mass], "gauge": "G1", "expanded": "0.02"},
            ]
            body = engraved(number, readings=readings)
            assert 201 == service["station"].post("/balls", json=body, headers=service.key()).status_code
        yield service


def test_a_selection_comes_in_figures(judged: Service) -> None:
    """Counts by limit, the worst balls, and the caution."""
    answer = judged["inspector"].get("/conformity", params={"rulebook": "usbc-2026", "model": "M1"}).json()
    assert (3, 1, CAUTION) == (
        answer["tally"]["balls"],
        answer["tally"]["counts"]["usbc.weight"]["does_not_conform"],
        answer["caution"],
    )
    assert ["P000002", "-0.02"] == [answer["tally"]["worst"]["usbc.weight"][0][part] for part in ("ball", "margin")]


def test_one_ball_comes_with_its_reasons(judged: Service) -> None:
    """Value, U, probability and what is said of the limit."""
    asked = {"rulebook": "usbc-2026", "serial": "P000003", "listed": "1"}
    [ball] = judged["quality"].get("/conformity", params=asked).json()["balls"]
    weight = next(one for one in ball["judged"]["verdicts"] if one["requirement"] == "usbc.weight")
    assert ("15.9", "0.02", "0.1", "conforms") == tuple(
        weight[part] for part in ("value", "expanded", "margin", "outcome")
    )
    assert (True, "second-hand") == (float(weight["probability"]) > 0.99, weight["provenance"])


def test_the_table_is_a_file(judged: Service) -> None:
    """One line a ball, as an attachment in CSV."""
    answer = judged["auditor"].get("/conformity/table", params={"rulebook": "usbc-2026"})
    assert (200, "text/csv") == (answer.status_code, answer.headers["content-type"].split(";")[0])
    assert 'attachment; filename="conformity.csv"' == answer.headers["content-disposition"]
    lines = csv.DictReader(line for line in io.StringIO(answer.text, newline="") if not line.startswith("#"))
    assert {"P000001": "conforms", "P000002": "does not conform", "P000003": "conforms"} == {
        line["serial"]: line["usbc.weight"] for line in lines
    }


def test_a_table_that_cannot_be_made_is_a_problem(judged: Service) -> None:
    """An unknown rulebook or form, and an account without the role."""
    unknown = judged["quality"].get("/conformity/table", params={"rulebook": "none"})
    form = judged["quality"].get("/conformity/table", params={"rulebook": "usbc-2026", "form": "xls"})
    role = judged["station"].get("/conformity/table", params={"rulebook": "usbc-2026"})
    assert [404, 400, 403] == [answer.status_code for answer in (unknown, form, role)]
    assert {"application/problem+json"} == {answer.headers["content-type"] for answer in (unknown, form, role)}
