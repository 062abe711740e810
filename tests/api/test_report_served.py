"""Reports over HTTP: made only where they are asked for, sealed by the service, whose key the reading process never has."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from ledger.evidence.verifier import check_dossier
from tests.api.running import SIGNERS, Service, running
from tests.evidence.reported import text_of
from tests.evidence.seals import NAME, seal_key
from tests.evidence.small_dossier import members
from tests.plant import VERIFIER


def served(service: Service, *parts: str) -> bytes:
    """A dossier of one ball with these parts."""
    answer = service["auditor"].post("/dossiers", json={"serials": ["P000001"], "parts": list(parts)})
    assert answer.status_code == 200, answer.text
    return answer.content


@pytest.mark.parametrize("long_reads", [0, 1], ids=["threads", "processes"])
def test_report_is_sealed_by_the_service(tmp_path: Path, long_reads: int) -> None:
    """On a thread or in a process of its own, the report is sealed, and the dossier passes its check."""
    signers = SIGNERS._replace(seal=seal_key())
    with running(tmp_path, balls=1, signers=signers, long_reads=long_reads) as service:
        content = served(service, "lots", "report")
    found = next(
        line.words for line in check_dossier(io.BytesIO(content), [VERIFIER]).checked() if line.code == "report"
    )
    assert f"its seal is whole and of {NAME}" in found
    assert "Ball P000001" in text_of(members(content)["report.pdf"])


def test_report_without_a_seal_is_served(service: Service) -> None:
    """A service without a seal gives the report all the same, and it says so."""
    assert "This file carries no seal" in text_of(members(served(service, "report"))["report.pdf"])


def test_no_report_unless_it_is_named(service: Service) -> None:
    """A request that names no parts gets no report."""
    answer = service["auditor"].post("/dossiers", json={"serials": ["P000001"]})
    assert (200, False) == (answer.status_code, "report.pdf" in members(answer.content))


def test_too_many_balls_for_a_report_are_a_413(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal says what would do; without the report there is no such limit."""
    monkeypatch.setattr("ledger.evidence.pdf.parts.MOST_BALLS", 1)
    asked = {"serials": ["P000001", "P000002"], "parts": ["report"]}
    answer = service["auditor"].post("/dossiers", json=asked)
    assert (413, True) == (answer.status_code, "leave the report out" in answer.text)
    assert 200 == service["auditor"].post("/dossiers", json={**asked, "parts": []}).status_code
