"""Dossiers over HTTP as they are wanted: whole lots, parts, and what is left closed."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest

from ledger.evidence.dossier_layout import parse_layout
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from tests.api.running import Service, running
from tests.evidence.small_dossier import members
from tests.plant import VERIFIER


def dossier(service: Service, **asked: Any) -> bytes:
    """A dossier, as served."""
    answer = service["auditor"].post("/dossiers", json=asked)
    assert 200 == answer.status_code, answer.text
    return answer.content


def checked(content: bytes) -> DossierReport:
    """What a check of it found."""
    return check_dossier(io.BytesIO(content), [VERIFIER])


def test_a_whole_lot(service: Service) -> None:
    """Every ball of it, and that it is not closed is told."""
    report = checked(dossier(service, lots=["SL-1"]))
    assert ("lots", ("SL-1",), None) == (report.scope.kind, report.scope.names, report.lots[0].count)
    assert report.counts.balls == report.lots[0].added > 1


def test_what_is_closed_is_named_by_groups(service: Service) -> None:
    """The supplier alone, or all but the supplier."""
    both = [
        dossier(service, serials=["P000001"], withhold=["suppliers"]),
        dossier(service, serials=["P000001"], open=["suppliers"]),
    ]
    told = [b"".join(raw for name, raw in members(one).items() if name.startswith("openings/")) for one in both]
    assert [False, True] == [b"A supplier" in one for one in told]
    assert checked(both[0]).counts.withheld < checked(both[1]).counts.withheld


def test_parts_are_named(service: Service) -> None:
    """Sheets and proofs alone, or one part of them all."""
    assert () == parse_layout(list(members(dossier(service, serials=["P000001"], parts=[])))).lots
    layout = parse_layout(list(members(dossier(service, serials=["P000001"], parts=["lots"]))))
    assert (("SL-1",), (), False) == (layout.lots, layout.events, layout.verdicts)


@pytest.mark.parametrize(
    ("asked", "status", "where"),
    [
        ({"serials": ["P000001"], "lots": ["SL-1"]}, 400, "serials"),
        ({"lots": ["SL-404"]}, 404, "lots[0]"),
        ({"approval_file": "AF-404"}, 404, "file"),
        ({"serials": ["P000001"], "withhold": ["everything"]}, 400, "withhold"),
        ({"serials": ["P000001"], "open": ["0/0/nothing"]}, 404, "withhold"),
        ({"serials": ["P000001"], "parts": ["entries"]}, 400, "parts[0]"),
    ],
)
def test_what_cannot_be_is_refused_and_named(service: Service, asked: dict[str, Any], status: int, where: str) -> None:
    """Even what is found only in the middle of writing is an answer of its own, and no half of a file."""
    answer = service["auditor"].post("/dossiers", json=asked)
    assert (status, "application/problem+json") == (answer.status_code, answer.headers["content-type"])
    assert where in answer.text


def test_a_lot_of_too_many_balls_is_a_413(tmp_path: Path) -> None:
    """The limit counts balls, however they are named."""
    with running(tmp_path, balls=3, dossier_limit=2) as service:
        answer = service["auditor"].post("/dossiers", json={"lots": ["SL-1"]})
    assert (413, "lots") == (answer.status_code, answer.json()["where"])
