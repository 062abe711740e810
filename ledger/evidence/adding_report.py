"""Putting report.pdf into a dossier that was written without it, which the report holds in itself.

Everything else stays as it is, byte for byte; sums, manifest and signature are made anew.
"""

from __future__ import annotations

import hashlib
from typing import BinaryIO

import msgspec

from ledger.book.note import sign_note
from ledger.book.signing import NoteSigner
from ledger.errors import DossierRejected
from ledger.evidence.archive import Archive, ArchiveWriter
from ledger.evidence.dossier_format import (
    MANIFEST,
    REPORT,
    SIGNATURE,
    SUMS,
    Manifest,
    format_page,
    parse_page,
    signed_text,
)


def add_report(dossier: BinaryIO, report: bytes, out: BinaryIO, signer: NoteSigner) -> None:
    """Write the dossier with the report to ``out``. Raises MalformedDossier, DossierRejected where it has one already."""
    archive, writer = Archive(dossier), ArchiveWriter(out)
    manifest = parse_page(archive.read(MANIFEST, archive.size(MANIFEST)), Manifest, MANIFEST)
    if REPORT in archive:
        raise DossierRejected("dossier has a report already", where=REPORT)
    for name in archive.names[:-3]:
        writer.add(name, archive.read(name, archive.size(name)))
    writer.add(REPORT, report)
    sums = archive.read(SUMS, archive.size(SUMS)) + f"{hashlib.sha256(report).hexdigest()}  {REPORT}\n".encode()
    counts = msgspec.structs.replace(manifest.counts, report=1)
    page = format_page(msgspec.structs.replace(manifest, sums=hashlib.sha256(sums).hexdigest(), counts=counts))
    writer.add(SUMS, sums)
    writer.add(MANIFEST, page)
    text = signed_text(manifest.book, hashlib.sha256(page).hexdigest())
    writer.add(SIGNATURE, sign_note(text, [signer]))
    writer.close()
