"""Dossiers of balls that were claimed: files that lie beside the book are counted, and told as erased where they are."""

from __future__ import annotations

import hashlib
import io

from ledger.book.signing import format_verifier
from ledger.evidence.archive import Archive
from ledger.evidence.report import DossierReport
from ledger.evidence.verifier import check_dossier
from ledger.store.blobs import put_blob
from tests.application.files import png
from tests.application.floor import Floor, at, claimed, corrected, floor_signers

KEY = format_verifier(floor_signers().checkpoint.verifier)
PHOTOS = [hashlib.sha256(png(shade)).hexdigest() for shade in range(3)]


def dossier(floor: Floor) -> tuple[DossierReport, Archive]:
    """The dossier of the ball, checked, and its files."""
    out = io.BytesIO()
    floor.book.dossier(["P-1"], out)
    return check_dossier(io.BytesIO(out.getvalue()), [KEY]), Archive(io.BytesIO(out.getvalue()))


def test_an_erased_photo_is_told_as_erased(ready: Floor) -> None:
    """The entry that erased it comes along; the photo of a correction counts, and each once."""
    for shade in range(3):
        put_blob(ready.book.store, png(shade), "image/png")
    ready.ball("U-1", "P-1")
    photos = [{"digest": digest, "what": "photo"} for digest in PHOTOS]
    first = ready.say(claimed("C-1", unit="U-1", evidence=photos[:2]))
    ready.say({"kind": "claim-examined", "at": at(301), "claim": "C-1", "findings": ["void"], "evidence": photos[2:]})
    right = claimed("C-1", unit="U-1", evidence=[photos[1], photos[1]])
    ready.say(corrected({"fact": first.addresses[0], "replacement": right}))
    before, _ = dossier(ready)
    assert (2, 0) == (before.files, before.files_erased)
    said = {"kind": "blob-erasure", "at": at(302), "blobs": PHOTOS[1:], "basis": "request", "reason": "asked"}
    erased = ready.say(said)
    after, archive = dossier(ready)
    assert (2, 1, before.counts.entries + 1) == (after.files, after.files_erased, after.counts.entries)
    assert f"entries/{erased.index}.json" in archive
    assert "  - the files of claims, named by their SHA-256: 2, of which 1 erased" in after.lines()


def test_a_dossier_without_claims_says_nothing_of_files(ready: Floor) -> None:
    """There is nothing that could be missing."""
    ready.ball("U-1", "P-1")
    report, _ = dossier(ready)
    assert (0, False) == (report.files, any("files of claims" in line for line in report.lines()))
