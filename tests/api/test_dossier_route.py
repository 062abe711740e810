"""Dossiers over HTTP: the file that comes out is checked without the service."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import pytest

from ledger.errors import LedgerError
from ledger.evidence.verifier import check_dossier
from tests.api.running import Service, running
from tests.plant import VERIFIER


def dossier(service: Service, **asked: Any) -> bytes:
    """A dossier, as served."""
    answer = service["auditor"].post("/dossiers", json=asked)
    assert (200, "application/zip") == (answer.status_code, answer.headers["content-type"]), answer.text
    assert int(answer.headers["content-length"]) == len(answer.content)
    return answer.content


def test_a_dossier_stands_on_its_own(service: Service) -> None:
    """With the file and the book's key alone, its checks pass; with another key they do not."""
    content = dossier(service, serials=["P000001", "P000002"])
    check_dossier(io.BytesIO(content), [VERIFIER])

    other = VERIFIER[:-4] + ("AAA=" if not VERIFIER.endswith("AAA=") else "BBB=")
    with pytest.raises(LedgerError):
        check_dossier(io.BytesIO(content), [other])


def test_what_is_withheld_is_not_in_it(service: Service) -> None:
    """A supplier's name is in a dossier that withholds nothing, and in no other form where it is withheld."""
    full = dossier(service, serials=["P000001"], withhold=[])
    closed = dossier(service, serials=["P000001"], withhold=["withheld", "erasable"])

    def texts(content: bytes) -> bytes:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return b"".join(archive.read(name) for name in archive.namelist())

    assert (True, False) == (b"A supplier" in texts(full), b"A supplier" in texts(closed))
    check_dossier(io.BytesIO(closed), [VERIFIER])


def test_an_unknown_serial_gives_no_dossier(service: Service) -> None:
    """One unknown serial among known ones is a 404 that names it, and no file comes."""
    answer = service["auditor"].post("/dossiers", json={"serials": ["P000001", "P404404"]})

    assert (404, True) == (answer.status_code, "P404404" in answer.text)


@pytest.mark.parametrize("asked", [{"serials": []}, {}, {"serials": ["P1"], "withhold": ["all"]}, {"serials": [""]}])
def test_a_malformed_request_gives_no_dossier(service: Service, asked: dict[str, Any]) -> None:
    """No serial, or something to withhold that is no such thing, is malformed."""
    assert 400 == service["auditor"].post("/dossiers", json=asked).status_code


def test_too_many_serials_are_a_413(tmp_path: Path) -> None:
    """More serials than the service's limit are refused with the limit."""
    with running(tmp_path, balls=3, dossier_limit=2) as service:
        answer = service["auditor"].post("/dossiers", json={"serials": ["P000001", "P000002", "P000003"]})

    assert (413, "serials") == (answer.status_code, answer.json()["where"])
