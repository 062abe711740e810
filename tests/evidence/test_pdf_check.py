"""The check of report.pdf in a dossier: the same dossier inside, a seal that is whole, and the first thing that is wrong."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from functools import cache

import pytest

from ledger.errors import DossierRejected, MalformedDossier
from ledger.evidence.adding_report import add_report
from ledger.evidence.dossier_format import REPORT
from ledger.evidence.pdf_check import embedded_dossier
from ledger.evidence.verifier import check_dossier
from tests.evidence.reported import made, small_report
from tests.evidence.seals import NAME, seal_key
from tests.evidence.small_dossier import KEY, SEALER, content, dossier, members, resealed, written


@cache
def sealed_report() -> bytes:
    """The report of the little dossier under a seal."""
    return seal_key().seal(small_report()).pdf


def with_report(pdf: bytes) -> bytes:
    """The little dossier with that file as its report, everything else in order."""
    out = io.BytesIO()
    add_report(io.BytesIO(dossier()), pdf, out, SEALER)
    return out.getvalue()


def lines_of(pdf: bytes) -> tuple[str, str]:
    """What the check of a dossier with that report says of it: checked, and not checked."""
    report = check_dossier(io.BytesIO(with_report(pdf)), [KEY])
    checked = [line.words for line in report.checked() if line.code == "report"]
    left = [line.words for line in report.not_checked() if line.code == "report"]
    assert (len(checked), len(left)) == (1, 1)
    return checked[0], left[0]


def test_sealed_report_is_checked() -> None:
    """The dossier inside is the same, the seal is whole, and the certificate is told by name and digest."""
    checked, left = lines_of(sealed_report())
    assert checked == (
        "report.pdf holds this same dossier without itself; its seal is whole and of "
        f"{NAME}, SHA-256 of the certificate {seal_key().words.fingerprint}"
    )
    assert left == "what the pages of report.pdf show; whether the certificate of its seal is to be trusted"


def test_report_without_a_seal_is_told_as_such() -> None:
    """It may be without one, and the check says so."""
    checked, left = lines_of(small_report())
    assert checked == "report.pdf holds this same dossier without itself; it carries no seal"
    assert left == "what the pages of report.pdf show"


def test_without_the_extra_the_seal_is_not_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    """The dossier inside is compared all the same."""
    monkeypatch.setitem(sys.modules, "pyhanko.pdf_utils.reader", None)
    checked, left = lines_of(sealed_report())
    assert checked == "report.pdf holds this same dossier without itself"
    assert left.endswith("its seal: that needs the extra evidence, which is not installed")


def test_report_of_another_dossier_is_found() -> None:
    """A report that holds another dossier is no report of this one."""
    other = made(written(content(balls=[content().balls[0]])))  # type: ignore[index]  # a list there
    with pytest.raises(DossierRejected, match="dossier in the report is another one") as found:
        lines_of(other)
    assert found.value.where == REPORT


def test_changed_pages_break_the_seal() -> None:
    """One bit of a page's content changed: the seal is broken, and the file inside is still the same."""
    sealed = bytearray(sealed_report())
    sealed[sealed.index(b"stream\n") + 30] ^= 1
    assert embedded_dossier(bytes(sealed)) == dossier()
    with pytest.raises(DossierRejected, match="seal of the report is broken: got the file was changed"):
        lines_of(bytes(sealed))


def test_bytes_behind_the_seal_are_found() -> None:
    """A seal that does not cover the whole file is none of this file."""
    longer = sealed_report() + b"% more\n"
    with pytest.raises(DossierRejected, match="report"):
        lines_of(longer)


def replaced(old: bytes, new: bytes) -> Callable[[], bytes]:
    """The report with the first such bytes exchanged."""
    return lambda: small_report().replace(old, new, 1)


FORGED: dict[str, tuple[Callable[[], bytes], str]] = {
    "text": (lambda: b"no PDF at all", "file is no PDF"),
    "empty": (lambda: b"%PDF-1.7\n", "holds no file in the form of a report"),
    "no-file": (replaced(b"/Type /EmbeddedFile", b"/Type /EmbeddedFyle"), "holds no file in the form of a report"),
    "packed": (replaced(b"/Params <<", b"/Filter /FlateDecode\n/Params <<"), "file in the report has another form"),
    "two-files": (lambda: small_report() + b"\n/Type /EmbeddedFile\n>>\nstream\n", "holds more than one file"),
    "cut": (lambda: small_report()[:-2000], "cannot be read as a PDF"),
    "other-table": (replaced(b"\nxref\n", b"\nxfer\n"), "is no PDF in the form of a report"),
    "hybrid": (replaced(b"/Root ", b"/XRefStm 5 /Root "), "is no PDF in the form of a report"),
    "escaped": (replaced(b"/Root ", b"/Roo#74 "), "is no PDF in the form of a report"),
    "unlisted": (replaced(b"/EmbeddedFiles", b"/EmbeddedFyles"), "cannot be read as a PDF"),
}


@pytest.mark.parametrize(("forged", "problem"), FORGED.values(), ids=FORGED.keys())
def test_forged_reports_are_refused(forged: Callable[[], bytes], problem: str) -> None:
    """Each gives a plain reason that names the report, and no traceback of a library."""
    with pytest.raises((DossierRejected, MalformedDossier), match=problem) as found:
        lines_of(forged())
    assert found.value.where == REPORT


def test_report_that_the_manifest_counts_otherwise_is_found() -> None:
    """The dossier inside must say of itself that it has no report, and sign that."""
    files = members(dossier())
    told = resealed(files, stated={"scope": {"kind": "serials", "words": "another scope"}})
    with pytest.raises(DossierRejected, match="dossier in the report is another one"):
        lines_of(made(told))
