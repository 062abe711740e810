"""The seal of a report: which keys may seal, with and without a time stamp, and what its pages say of it."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import pytest

from ledger.errors import KeyFileRefused, Unsupported
from ledger.evidence.pdf.make import ReportContent, make_report
from ledger.evidence.pdf.seal import SealKey
from tests.evidence.openssl_tsa import OpenSslTsa
from tests.evidence.reported import AT, MAKER, small_report, text_of
from tests.evidence.seals import NAME, NOW, PASSWORD, Kind, seal_file, seal_key
from tests.evidence.small_dossier import dossier


def sealed_report(key: SealKey) -> bytes:
    """The report of the little dossier under a seal."""
    return make_report(ReportContent(dossier=dossier(), plant=MAKER, at=AT), key).pdf


def test_seal_goes_behind_the_report_and_changes_nothing_of_it() -> None:
    """A sealed file begins with the very bytes of the file that was sealed, and says so at its end."""
    plain = small_report()
    sealed = seal_key().seal(plain)
    assert sealed.pdf.startswith(plain)
    assert b"/SubFilter /ETSI.CAdES.detached" in sealed.pdf[len(plain) :]
    assert b"/Version" not in sealed.pdf


def test_pages_say_whose_seal_it_is() -> None:
    """Cover and signature page state the subject and the whole digest of the certificate, also in a file not yet sealed."""
    key = seal_key()
    text = text_of(sealed_report(key))
    digest = key.words.fingerprint
    assert len(digest) == 64
    assert text.count(" ".join(digest[at : at + 8] for at in range(0, 64, 8))) == 2
    assert text.count(NAME) >= 2
    assert "pdfsig report.pdf" in text
    assert "This file carries no seal" in text_of(small_report())


def test_seal_without_an_authority_says_that_it_is_not_stamped() -> None:
    """No authority set up is no fault, and is told."""
    assert seal_key().seal(small_report()).unstamped == "no time stamping authority is set up"


def test_authority_that_does_not_answer_leaves_the_seal_unstamped() -> None:
    """The report is sealed all the same, and why it has no time stamp is told."""
    sealed = seal_key(lambda _request: "tsa-1: it cannot be reached in time").seal(small_report())
    assert "tsa-1: it cannot be reached in time" in sealed.unstamped
    assert b"ETSI.CAdES.detached" in sealed.pdf


@pytest.mark.parametrize("answer", [b"", b"no DER", b"\x30\x03\x02\x01\x00"], ids=["nothing", "text", "number"])
def test_answer_that_is_none_leaves_the_seal_unstamped(answer: bytes) -> None:
    """What an authority sends in the place of a response breaks nothing."""
    sealed = seal_key(lambda _request: answer).seal(small_report())
    assert sealed.unstamped


def test_seal_is_stamped_by_an_authority(tmp_path: Path) -> None:
    """OpenSSL's time stamp goes into the signature, and it is asked once."""
    tsa, asked = OpenSslTsa(tmp_path / "tsa"), []

    def stamp(request: bytes) -> bytes:
        asked.append(request)
        return tsa.answer(request)

    sealed = seal_key(stamp).seal(small_report())
    assert (sealed.unstamped, len(asked)) == ("", 1)


def test_stamp_over_something_else_is_refused(tmp_path: Path) -> None:
    """An answer to another request is no time stamp of this seal."""
    tsa = OpenSslTsa(tmp_path / "tsa")
    first: list[bytes] = []

    def stamp(request: bytes) -> bytes:
        first.append(request)
        return tsa.answer(first[0])

    assert seal_key(stamp).seal(small_report()).unstamped == ""
    assert seal_key(stamp).seal(small_report()).unstamped == "the time stamping authority answered another request"


def test_authority_that_refuses_leaves_the_seal_unstamped() -> None:
    """A refusal has no token in it (RFC 3161, 2.4.2: PKIStatusInfo with the status rejection alone), and that is told."""
    sealed = seal_key(lambda _request: bytes.fromhex("30053003020102")).seal(small_report())
    assert sealed.unstamped.startswith("the time stamping authority sent no token that can be read")


@pytest.mark.parametrize("kind", ["weak", "elliptic"])
def test_other_keys_may_not_seal(kind: Kind) -> None:
    """A short RSA key is too weak, and an elliptic one would leave PDF/A."""
    with pytest.raises(KeyFileRefused, match="no key that can seal"):
        SealKey(seal_file(kind), PASSWORD, now=NOW)


@pytest.mark.parametrize(
    ("raw", "password"), [(seal_file, b"another password"), (lambda: b"no file", PASSWORD)], ids=["password", "file"]
)
def test_file_that_does_not_open_is_refused(raw: object, password: bytes) -> None:
    """A wrong password and a file of another kind are told alike: PKCS#12 does not tell them apart."""
    assert callable(raw)
    with pytest.raises(KeyFileRefused, match="does not open"):
        SealKey(raw(), password, now=NOW)


@pytest.mark.parametrize("days", [-2, 10])
def test_certificate_out_of_its_time_is_refused(days: int) -> None:
    """Nothing is sealed by a certificate that is not valid yet, or no more."""
    with pytest.raises(KeyFileRefused, match="not valid now"):
        seal_key(now=NOW + dt.timedelta(days=days))


def test_without_the_extra_a_seal_is_refused_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where pyHanko is not installed the reason and the mend are said."""
    monkeypatch.setitem(sys.modules, "pyhanko.sign", None)
    with pytest.raises(Unsupported, match="packages that are not installed") as refused:
        seal_key()
    assert "extra evidence" in refused.value.mend


def test_without_the_typeface_a_report_is_refused_in_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the typeface is not installed no report is made, and the reason is said."""
    from ledger.evidence.pdf import fonts  # noqa: PLC0415

    fonts._font_files.cache_clear()
    monkeypatch.setattr(fonts, "_PACKAGE", "fontpkg_that_is_not_here")
    with pytest.raises(Unsupported, match="fontpkg_that_is_not_here"):
        make_report(ReportContent(dossier=dossier(), plant=MAKER, at=AT))
    fonts._font_files.cache_clear()
