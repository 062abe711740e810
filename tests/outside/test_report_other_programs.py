"""A report as other programs see it: PDF/A-3b by pikepdf's rules, its seal by poppler's pdfsig, its attachment by both.

PDF/A rules as pikepdf has them (its `pikepdf.pdfa`, after ISO 19005-3); what it does not know (embedded files, forms, open
actions) it reports as unsupported, which is no finding.  Time stamps are OpenSSL's.
"""

from __future__ import annotations

import io
import shutil
import subprocess
from functools import cache
from pathlib import Path

import pikepdf
import pytest
from pikepdf import pdfa

from ledger.evidence.pdf.cover import ATTACHMENT
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.evidence.reported import made, small_report, wide_backgrounds, wide_dossier
from tests.evidence.seals import NAME, seal_key
from tests.evidence.small_dossier import dossier


@cache
def wide_report() -> bytes:
    """A report in which everything is long and many."""
    return made(wide_dossier(1), paper="Letter", balls=wide_backgrounds(1))


@cache
def sealed_report() -> bytes:
    """A report under a seal without a time stamp."""
    return seal_key().seal(small_report()).pdf


def violations(pdf: bytes) -> list[str]:
    """What pikepdf finds against PDF/A-3b."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        return [str(found) for found in pdfa.check(opened, "3b").findings if found.kind == "violation"]


def test_findings_would_be_seen() -> None:
    """A file that is not PDF/A has findings: an empty list says something."""
    bare = io.BytesIO()
    with pikepdf.new() as made_bare:
        made_bare.add_blank_page()
        made_bare.save(bare)
    assert violations(bare.getvalue()) != []


@pytest.mark.parametrize("report", [small_report, wide_report, sealed_report], ids=["small", "wide", "sealed"])
def test_report_is_pdfa_3b(report: object) -> None:
    """Nothing is found against PDF/A-3b, also behind the seal."""
    assert callable(report)
    assert violations(report()) == []


def test_stamped_report_is_pdfa_3b(tmp_path: Path) -> None:
    """A time stamp in the signature leaves it PDF/A-3b."""
    assert violations(seal_key(OpenSslTsa(tmp_path / "tsa").answer).seal(small_report()).pdf) == []


def test_fonts_are_embedded_with_their_letters() -> None:
    """Every font is embedded and says which letters its glyphs are, so that text can be searched and read out."""
    with pikepdf.open(io.BytesIO(wide_report())) as opened:
        fonts = [
            one for one in opened.objects if isinstance(one, pikepdf.Dictionary) and one.get("/Subtype") == "/Type0"
        ]
        assert len(fonts) == 3
        for font in fonts:
            assert "/ToUnicode" in font
            assert "/FontFile2" in font["/DescendantFonts"][0]["/FontDescriptor"]


def test_attachment_is_the_dossier_and_says_what_it_is() -> None:
    """Pikepdf finds one file, byte for byte the dossier, associated with the document as data."""
    with pikepdf.open(io.BytesIO(sealed_report())) as opened:
        assert list(opened.attachments) == [ATTACHMENT]
        assert opened.attachments[ATTACHMENT].get_file().read_bytes() == dossier()
        (associated,) = opened.Root.AF
        assert (str(associated.AFRelationship), str(associated.UF)) == ("/Data", ATTACHMENT)


def pdfsig(pdf: bytes, folder: Path) -> str:
    """What poppler says of the signatures of a file. Skips where it is not installed."""
    if shutil.which("pdfsig") is None:
        pytest.skip("pdfsig is not on the path")
    file = folder / "report.pdf"
    file.write_bytes(pdf)
    found = subprocess.run(["pdfsig", str(file)], check=False, capture_output=True, text=True, timeout=60)
    return found.stdout + found.stderr


@pytest.mark.parametrize("stamped", [False, True], ids=["B-B", "B-T"])
def test_seal_is_valid_for_poppler(tmp_path: Path, *, stamped: bool) -> None:
    """Poppler calls the seal valid and over the whole document, with and without a time stamp."""
    stamp = OpenSslTsa(tmp_path / "tsa").answer if stamped else None
    sealed = seal_key(stamp).seal(small_report())
    assert (sealed.unstamped == "") is stamped
    said = pdfsig(sealed.pdf, tmp_path)
    assert "Signature is Valid." in said
    assert "Total document signed" in said
    assert NAME in said
    assert "ETSI.CAdES.detached" in said


def test_flipped_byte_breaks_the_seal_for_poppler(tmp_path: Path) -> None:
    """One bit of the dossier inside changed: the signature is not valid any more."""
    changed = bytearray(sealed_report())
    changed[changed.index(dossier()) + 1000] ^= 1
    said = pdfsig(bytes(changed), tmp_path)
    assert "Signature is Valid." not in said
    assert "Digest Mismatch" in said


def test_poppler_takes_the_attachment_out(tmp_path: Path) -> None:
    """The command that the report names gives the dossier."""
    if shutil.which("pdfdetach") is None:
        pytest.skip("pdfdetach is not on the path")
    (tmp_path / "report.pdf").write_bytes(sealed_report())
    subprocess.run(["pdfdetach", "-save", "1", "report.pdf"], check=True, cwd=tmp_path, timeout=60)
    assert (tmp_path / ATTACHMENT).read_bytes() == dossier()
