"""The file that reports are sealed with: made by the command, encrypted, owner-only, never written over."""

from __future__ import annotations

import datetime as dt
import stat
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256

from ledger.errors import KeyFileRefused
from ops.cli import main
from ops.seal_files import LONGEST_NAME, RSA_BITS, YEARS, create_seal_file, open_seal_file

NOW = dt.datetime(2026, 11, 1, 12, tzinfo=dt.UTC)
NAME = "Äußere Mühle Kugelwerk (invented)"
PASSWORD = "correct horse battery"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, x509.Certificate]:
    """A seal file that was just made, and its certificate."""
    path = tmp_path_factory.mktemp("seal") / "seal.p12"
    return path, create_seal_file(path, NAME, PASSWORD, NOW)


def test_opened_seal_is_the_one_that_was_made(made: tuple[Path, x509.Certificate]) -> None:
    """It opens to the same certificate, and says whose it is."""
    path, certificate = made
    seal = open_seal_file(path, PASSWORD, NOW)
    assert (NAME, certificate.fingerprint(SHA256()).hex()) == seal.words


def test_certificate_is_for_signatures_alone(made: tuple[Path, x509.Certificate]) -> None:
    """It is of its own making, for no other certificate, with a strong RSA key, for ten years."""
    _, certificate = made
    usage = certificate.extensions.get_extension_for_class(x509.KeyUsage)
    basic = certificate.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (usage.critical, usage.value.digital_signature, usage.value.content_commitment) == (True, True, True)
    assert (usage.value.key_cert_sign, usage.value.crl_sign, usage.value.key_agreement) == (False, False, False)
    assert (basic.critical, basic.value.ca) == (True, False)
    assert certificate.public_key().key_size == RSA_BITS  # type: ignore[union-attr]  # an RSA key
    certificate.verify_directly_issued_by(certificate)
    years = (certificate.not_valid_after_utc - certificate.not_valid_before_utc).days / 365.25
    assert YEARS == pytest.approx(years, abs=0.01)


def test_file_is_owner_only_and_encrypted(made: tuple[Path, x509.Certificate]) -> None:
    """The mode is 0600, and a wrong password opens nothing."""
    path, _ = made
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(KeyFileRefused, match="does not open") as refused:
        open_seal_file(path, "another password", NOW)
    assert refused.value.where == str(path)


def test_file_that_others_can_reach_is_refused(made: tuple[Path, x509.Certificate], tmp_path: Path) -> None:
    """A copy with another mode is no seal."""
    copy = tmp_path / "seal.p12"
    copy.write_bytes(made[0].read_bytes())
    copy.chmod(0o640)
    with pytest.raises(KeyFileRefused, match="reached by other users"):
        open_seal_file(copy, PASSWORD, NOW)


@pytest.mark.parametrize("days", [-1, 365 * YEARS + 20])
def test_certificate_out_of_its_time_is_refused_by_name(made: tuple[Path, x509.Certificate], days: int) -> None:
    """The refusal names the file and the days between which the certificate is valid."""
    with pytest.raises(KeyFileRefused, match="2026-11-01 to 2036-") as refused:
        open_seal_file(made[0], PASSWORD, NOW + dt.timedelta(days=days))
    assert refused.value.where == str(made[0])


def test_missing_and_long_files_are_refused(tmp_path: Path) -> None:
    """A file that is not there, or that is no such file, has a plain reason."""
    with pytest.raises(KeyFileRefused, match="cannot be read"):
        open_seal_file(tmp_path / "none.p12", PASSWORD, NOW)
    long = tmp_path / "long.p12"
    long.write_bytes(bytes(100_000))
    long.chmod(0o600)
    with pytest.raises(KeyFileRefused, match="too long"):
        open_seal_file(long, PASSWORD, NOW)


@pytest.mark.parametrize(
    ("name", "password", "problem"),
    [
        ("", PASSWORD, "name cannot stand"),
        ("x" * (LONGEST_NAME + 1), PASSWORD, "name cannot stand"),
        ("two\nlines", PASSWORD, "name cannot stand"),
        (NAME, "short", "password too short"),
    ],
    ids=["empty", "long", "lines", "password"],
)
def test_what_makes_no_seal_is_refused(tmp_path: Path, name: str, password: str, problem: str) -> None:
    """Nothing is written for it."""
    with pytest.raises(KeyFileRefused, match=problem):
        create_seal_file(tmp_path / "seal.p12", name, password, NOW)
    assert list(tmp_path.iterdir()) == []


def test_command_makes_a_seal_and_tells_its_digest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`pourbook keys new-seal` prints what readers compare, and never writes over a file."""
    (tmp_path / "password").write_text(f"{PASSWORD}\n", "utf-8")
    words = ["keys", "new-seal", str(tmp_path / "seal.p12"), "--name", NAME]
    words += ["--password-file", str(tmp_path / "password")]
    assert main(words) == 0
    seal = open_seal_file(tmp_path / "seal.p12", PASSWORD, dt.datetime.now(dt.UTC))
    assert f"SHA-256 of the certificate: {seal.words.fingerprint}" in capsys.readouterr().out
    assert main(words) == 1
    assert "key file exists" in capsys.readouterr().err
