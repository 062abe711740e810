"""Stations' signatures on the entries of a dossier."""

from __future__ import annotations

import io
from typing import Any

import pytest

from ledger.book.signing import Signer
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from tests.evidence.signed_entries import INTRODUCED, OTHER, REVOKED, SAYS, STATION, signed_dossier
from tests.evidence.small_dossier import KEY


def report(said: list[list[dict[str, Any]]], signed: dict[int, Signer], change: bytes = b"") -> DossierReport:
    """What a check found of a book in which these entries bear these stations' signatures."""
    return check_dossier(io.BytesIO(signed_dossier(said, signed, change)), [KEY])


def test_a_station_s_signature_is_checked() -> None:
    """Though a note about a person is among what it signed, sealed."""
    found = report([[INTRODUCED], [SAYS], [SAYS]], {3: STATION})
    assert ["1 station's own signature on entries, each by a key that the book knew then"] == [
        line.words for line in found.checked() if line.code == "stations"
    ]


@pytest.mark.parametrize(
    ("said", "signed"),
    [
        ([[INTRODUCED], [SAYS]], {3: OTHER}),
        ([[SAYS]], {2: STATION}),
        ([[INTRODUCED]], {2: STATION}),
        ([[INTRODUCED], [REVOKED], [SAYS]], {4: STATION}),
        ([[INTRODUCED], [REVOKED]], {3: STATION}),
    ],
    ids=["another station", "never introduced", "introduced by it", "revoked before", "revoked by it"],
)
def test_a_key_that_did_not_speak_then_is_refused(said: list[list[dict[str, Any]]], signed: dict[int, Signer]) -> None:
    """It speaks from the entry after its introduction up to the one before its revocation."""
    with pytest.raises(DossierRejected, match="no signature by a known key") as found:
        report(said, signed)
    assert f"entries/{max(signed)}.json" in found.value.where


def test_a_signature_over_other_bytes_is_refused() -> None:
    """What is entered is what was signed."""
    with pytest.raises((DossierRejected, MalformedDossier), match="another payload"):
        report([[INTRODUCED], [SAYS]], {3: STATION}, b" ")


def test_an_earlier_signature_stays_good() -> None:
    """A revocation says nothing of what was signed before."""
    assert 1 == report([[INTRODUCED], [SAYS], [REVOKED]], {3: STATION}).signed_entries
