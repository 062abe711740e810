"""Stations' signatures on the entries of a dossier."""

from __future__ import annotations

import hashlib
import io
from dataclasses import replace
from typing import Any

import msgspec
import pytest

from ledger.book.canonical import encode
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.entry import entry_hash, format_entry, read_entry, said_fields
from ledger.book.envelope import SAID_TYPE, sign_envelope
from ledger.book.merkle import root
from ledger.book.signing import Signer, format_verifier, signer_from_seed
from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.dossier_format import Scope
from ledger.evidence.entry_facts import fold_facts
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from ledger.line.fact import Fact
from ledger.line.rows import BookKey
from tests.evidence.small_dossier import KEY, LOG, ORIGIN, SUBMISSIONS, content, made_book, written

STATION = signer_from_seed(f"{ORIGIN}/e1", hashlib.sha256(b"a station of the tests").digest(), "station")
OTHER = signer_from_seed(f"{ORIGIN}/e2", hashlib.sha256(b"another station of the tests").digest(), "station")
AT = "2025-02-13T08:00:00.000+00:00"
INTRODUCED = {
    "kind": "key-introduced", "key": STATION.name, "purpose": "station", "verifier": format_verifier(STATION.verifier),
    "station": "E1", "at": AT,
}  # fmt: skip
REVOKED = {"kind": "key-revoked", "key": STATION.name, "reason": "replaced", "at": AT}
SAYS = {
    "kind": "pieces-lost",
    "lot": "S1",
    "count": 1,
    "how": "scrap",
    "reason": "cracked",
    "note": "by A. Person",
    "at": AT,
}


def report(said: list[list[dict[str, Any]]], signed: dict[int, Signer], change: bytes = b"") -> DossierReport:
    """What a check found of a book in which these entries bear these stations' signatures."""
    made = made_book((*SUBMISSIONS[:2], *said))
    raws: list[bytes] = []
    for raw in made.raws:
        entry = msgspec.structs.replace(
            read_entry(raw), prev=entry_hash(raws[-1]).hex() if raws else read_entry(raw).prev
        )
        if entry.index in signed:
            body = encode(said_fields(entry.said)) + change
            entry = msgspec.structs.replace(entry, signature=sign_envelope(SAID_TYPE, body, signed[entry.index]))
        raws.append(format_entry(entry))
    hashes = [entry_hash(raw) for raw in raws]
    made = replace(made, raws=raws, note=sign_checkpoint(ORIGIN, len(raws), root(hashes), [LOG]))
    facts = [
        Fact(index, place, record, "a1", 0)
        for index, records in enumerate(made.records)
        for place, record in enumerate(records)
    ]
    keys = fold_facts(fact for fact in facts if "Key" in type(fact.record).__name__ or fact.index == 0).all_of(BookKey)
    raw = written(
        content(
            scope=Scope(kind="selection", words="keys alone"),
            checkpoint=made.note,
            keys=keys,
            entries=[made.entry(index) for index in range(len(raws))],
            balls=[],
            rulebooks=(),
        )
    )
    return check_dossier(io.BytesIO(raw), [KEY])


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
