"""The check of a dossier's report.pdf: that it holds this same dossier without itself, and whether its seal is whole.

The dossier inside is found by the one form in which a report is written (`ledger.evidence.pdf.make`): one embedded file, not
compressed.  The seal is checked by a library (extra ``evidence``), and only in a file that has plain cross-reference tables,
as reports have: so nothing in it can be packed, and a bomb cannot burst.  What the pages show is not checked by anybody but a
reader, and whether a certificate is to be trusted is the reader's to say: its digest is told.
"""

from __future__ import annotations

import hashlib
import io
import re
from typing import Any, NamedTuple

import msgspec

from ledger.book.note import MAX_NOTE_BYTES, check_note
from ledger.book.signing import Verifier
from ledger.errors import DossierRejected, LedgerError, MalformedDossier
from ledger.evidence.archive import Archive
from ledger.evidence.dossier_format import MANIFEST, REPORT, SIGNATURE, SUMS, Manifest, parse_page, signed_text

MAX_REPORT_BYTES = 250_000_000

_MAX_MANIFEST_BYTES = 65_536
_EMBEDDED = re.compile(rb"\n/Length ([0-9]{1,10})\n[^\x00]{0,400}?/Type /EmbeddedFile\n>>\nstream\n")
_TABLE_AT = re.compile(rb"startxref\s+([0-9]{1,12})\s")
_TABLE_BEFORE = re.compile(rb"/Prev\s+([0-9]{1,12})\s")
_MOST_TABLES = 4


class ReportChecked(NamedTuple):
    """What was found, and what was not checked, each in words."""

    found: str
    left: str

    def words(self) -> dict[str, str]:
        """What was found, by the code that reports have for it; nothing where there is no report."""
        return {"report": self.found} if self.found else {}


NO_REPORT = ReportChecked("", "")


def check_report(archive: Archive, manifest: Manifest, signer: Verifier) -> ReportChecked:
    """Check the report of a dossier whose manifest and digests are right, signed by ``signer``.

    Raises DossierRejected or MalformedDossier naming what is wrong.
    """
    pdf = archive.read(REPORT, MAX_REPORT_BYTES)
    if not pdf.startswith(b"%PDF-1."):
        raise MalformedDossier("file is no PDF", where=REPORT)
    embedded = embedded_dossier(pdf)
    try:
        _check_same(archive, manifest, Archive(io.BytesIO(embedded)), signer)
    except LedgerError as error:
        raise DossierRejected(
            "dossier in the report is another one", expected="this one without the report", got=str(error), where=REPORT
        ) from error
    seal = _seal_of(pdf, embedded)
    found = "report.pdf holds this same dossier without itself"
    return ReportChecked(found + seal.found, "what the pages of report.pdf show" + seal.left)


def embedded_dossier(pdf: bytes) -> bytes:
    """The one file that a report holds. Raises DossierRejected where it holds none or more, or in another form."""
    match = _EMBEDDED.search(pdf)
    if match is None:
        raise DossierRejected("report holds no file in the form of a report", where=REPORT)
    start, length = match.end(), int(match[1])
    embedded = pdf[start : start + length]
    if b"/Filter" in match[0] or len(embedded) != length or pdf[start + length : start + length + 10] != b"\nendstream":
        raise DossierRejected("file in the report has another form", where=REPORT)
    if b"/EmbeddedFile\n" in pdf[start + length :]:
        raise DossierRejected("report holds more than one file", where=REPORT)
    return embedded


def _check_same(archive: Archive, manifest: Manifest, inside: Archive, signer: Verifier) -> None:
    names = [name for name in archive.names if name != REPORT]
    if inside.names != names:
        extra = sorted({*names} ^ {*inside.names}) or ["their order"]
        raise DossierRejected("other files", where=extra[0])
    lines = bytearray()
    for line in archive.lines(SUMS, 200):
        digest, _, name = line.decode("ascii", "replace").partition("  ")
        if name == REPORT:
            continue
        if name not in inside or _digest(inside, name) != digest:
            raise DossierRejected("another file", where=name)
        lines += line + b"\n"
    if inside.read(SUMS, len(lines)) != bytes(lines):
        raise DossierRejected("another file", where=SUMS)
    raw = inside.read(MANIFEST, _MAX_MANIFEST_BYTES)
    counts = msgspec.structs.replace(manifest.counts, report=0)
    expected = msgspec.structs.replace(manifest, sums=hashlib.sha256(lines).hexdigest(), counts=counts)
    if parse_page(raw, Manifest, MANIFEST) != expected:
        raise DossierRejected("another file", where=MANIFEST)
    note = check_note(inside.read(SIGNATURE, MAX_NOTE_BYTES), [signer])
    if note.text != signed_text(manifest.book, hashlib.sha256(raw).hexdigest()):
        raise DossierRejected("signature is over another manifest", where=SIGNATURE)


def _digest(archive: Archive, name: str) -> str:
    digest = hashlib.sha256()
    for block in archive.digest_blocks(name):
        digest.update(block)
    return digest.hexdigest()


def _seal_of(pdf: bytes, embedded: bytes) -> ReportChecked:
    """What was found of the seal, and what was not, as the ends of sentences."""
    try:
        from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415  # an extra
    except ImportError:
        return ReportChecked("", "; its seal: that needs the extra evidence, which is not installed")
    _check_tables(pdf)
    try:
        reader = PdfFileReader(io.BytesIO(pdf))
        _check_attachment(reader, embedded)
        signatures = reader.embedded_signatures
    except LedgerError:
        raise
    except Exception as error:
        # The library raises what its parser meets.
        raise DossierRejected("report cannot be read as a PDF", got=str(error), where=REPORT) from error
    if not signatures:
        return ReportChecked("; it carries no seal", "")
    if len(signatures) != 1:
        raise DossierRejected("report has other signatures", expected="one seal", got=len(signatures), where=REPORT)
    return _seal_words(signatures[0])


def _check_tables(pdf: bytes) -> None:
    """Every cross-reference table is a plain one, or DossierRejected is raised: then no object is packed in another."""
    last = pdf.rfind(b"startxref")
    said = _TABLE_AT.match(pdf, last) if last >= 0 else None
    for _ in range(_MOST_TABLES):
        if said is None:
            return
        place = int(said[1])
        begin = pdf.find(b"trailer", place)
        trailer = pdf[begin : pdf.find(b"startxref", begin)] if begin >= 0 else b"#"
        if pdf[place : place + 4] != b"xref" or b"#" in trailer or b"/XRefStm" in trailer:
            break
        said = _TABLE_BEFORE.search(trailer)
    raise DossierRejected("report is no PDF in the form of a report", expected="plain tables", where=REPORT)


def _check_attachment(reader: Any, embedded: bytes) -> None:
    """The names of the file lead to the dossier that was found, and to nothing else."""
    names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
    if len(names) != 2 or names[1]["/EF"]["/F"].data != embedded:
        raise DossierRejected("report's list of files names another one", where=REPORT)


def _seal_words(signature: Any) -> ReportChecked:
    from pyhanko.sign.validation.generic_cms import validate_sig_integrity  # noqa: PLC0415  # as above
    from pyhanko.sign.validation.status import SignatureCoverageLevel  # noqa: PLC0415  # as above

    try:
        signature.compute_integrity_info()
        whole = signature.evaluate_signature_coverage() == SignatureCoverageLevel.ENTIRE_FILE
        intact, valid = validate_sig_integrity(
            signature.signer_info, signature.signer_cert, "data", signature.compute_digest()
        )
        subject, digest = _name_of(signature.signer_cert), signature.signer_cert.sha256.hex()
        stamped = _is_stamped(signature.signer_info)
    except Exception as error:
        # As above.
        raise DossierRejected("seal of the report cannot be read", got=str(error), where=REPORT) from error
    if not (whole and intact and valid):
        got = (
            "it does not cover the whole file" if not whole else "the file was changed" if not intact else "it is false"
        )
        raise DossierRejected("seal of the report is broken", got=got, where=REPORT)
    found = f"; its seal is whole and of {subject}, SHA-256 of the certificate {digest}"
    left = "; whether the certificate of its seal is to be trusted" + (
        "; the time stamp in its seal" if stamped else ""
    )
    return ReportChecked(found, left)


def _is_stamped(signer_info: Any) -> bool:
    """Whether a time stamp of the signature is with it (RFC 3161, appendix A)."""
    attributes = signer_info["unsigned_attrs"].native or []
    return any(attribute["type"] == "signature_time_stamp_token" for attribute in attributes)


def _name_of(certificate: Any) -> str:
    """The common name of a certificate's subject, or else all of the subject."""
    names = certificate.subject.native
    return str(names["common_name"]) if "common_name" in names else str(certificate.subject.human_friendly)
