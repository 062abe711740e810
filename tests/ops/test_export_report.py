"""`pourbook export --with report`: a dossier with report.pdf, sealed or not, as a process would make and check it."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.sealing import stamp_by, stamp_of
from api.settings import Settings
from ledger.duties.token_talk import Authority
from ledger.duties.witness_talk import Answer, Unreached
from ledger.errors import MalformedInput
from ops.cli import main
from tests.evidence.reported import text_of
from tests.evidence.seals import NAME, PASSWORD, seal_file, seal_key
from tests.evidence.small_dossier import members
from tests.ops.test_book_commands import _url, _verifier, begun

__all__ = ["begun"]


@pytest.fixture
def words(begun: Path, tmp_path: Path) -> list[str]:
    """The command that exports the lot with a report."""
    out = ["export", str(tmp_path / "balls.zip"), "--store", _url(begun), "--dossier-key", str(begun / "dossier.key")]
    return [*out, "--password-file", str(begun / "dossier.password"), "--lot", "SL-1", "--with", "report"]


@pytest.fixture
def seal(tmp_path: Path) -> list[str]:
    """The options that name a seal."""
    (tmp_path / "seal.p12").write_bytes(seal_file())
    (tmp_path / "seal.p12").chmod(0o600)
    (tmp_path / "seal.password").write_bytes(PASSWORD + b"\n")
    return ["--seal", str(tmp_path / "seal.p12"), "--seal-password-file", str(tmp_path / "seal.password")]


def test_sealed_report_is_exported_and_verifies(
    begun: Path, tmp_path: Path, words: list[str], seal: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """What is exported passes its check, which tells the certificate; the export says that there is no time stamp."""
    assert main([*words, *seal, "--paper", "Letter"]) == 0
    said = capsys.readouterr().out
    assert f"the report is sealed by {NAME}, without a time stamp: no time stamping authority is set up" in said
    assert main(["verify", "dossier", str(tmp_path / "balls.zip"), "--key", _verifier(begun)]) == 0
    assert seal_key().words.fingerprint in capsys.readouterr().out
    report = members((tmp_path / "balls.zip").read_bytes())["report.pdf"]
    assert b"/MediaBox [0 0 612.00 792.00]" in report
    text = text_of(report)
    assert [serial for serial in ("P000000", "P000001", "P000002") if f"Ball {serial}" not in text] == []
    assert "of Test plant" in text


def test_report_without_a_seal_says_so(tmp_path: Path, words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """No seal is no fault; the export and the pages say that there is none."""
    assert main(words) == 0
    assert "the report carries no seal" in capsys.readouterr().out
    assert "not sealed: no seal was set up" in text_of(members((tmp_path / "balls.zip").read_bytes())["report.pdf"])


def test_without_the_option_there_is_no_report(tmp_path: Path, words: list[str]) -> None:
    """A dossier has no report unless it is asked for."""
    assert main(words[:-2]) == 0
    assert "report.pdf" not in members((tmp_path / "balls.zip").read_bytes())


def test_seal_without_its_password_is_refused(
    tmp_path: Path, words: list[str], seal: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The reason names the option, and nothing is written."""
    assert main([*words, *seal[:2]]) == 1
    assert "--seal-password-file" in capsys.readouterr().err
    assert not (tmp_path / "balls.zip").exists()


AUTHORITIES = (Authority("one", "http://tsa-1.example"), Authority("two", "http://tsa-2.example"))


def test_authorities_are_asked_in_turn() -> None:
    """The first that answers is taken; what the others said is told where none does."""
    asked: list[str] = []

    def send(method: str, url: str, body: bytes = b"", media: str = "") -> Answer | Unreached:
        asked.append(f"{method} {url} {media} {body!r}")
        if url == AUTHORITIES[0].url:
            return Unreached("it cannot be reached in time")
        return Answer(200, "application/timestamp-reply", b"token")

    assert stamp_by(send, AUTHORITIES)(b"request") == b"token"
    assert asked == [f"POST {one.url} application/timestamp-query b'request'" for one in AUTHORITIES]
    assert stamp_by(send, AUTHORITIES[:1])(b"request") == "one: it cannot be reached in time"


def test_answer_of_another_kind_is_told() -> None:
    """A page of HTML is no time stamp."""
    stamp = stamp_by(lambda *_: Answer(503, "text/html", b""), AUTHORITIES[:1])
    assert stamp(b"request") == "one: it answered 503 text/html"


def test_settings_name_the_authorities() -> None:
    """Without one there is no time stamp; what names none is refused."""
    assert stamp_of(Settings()) is None
    assert stamp_of(Settings(tsa="one http://tsa-1.example", tsa_roots="roots.pem")) is not None
    with pytest.raises(MalformedInput):
        stamp_of(Settings(tsa="nothing"))
