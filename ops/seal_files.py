"""The file that a report is sealed with: a PKCS#12 file with an RSA key and its certificate, readable by its owner alone.

One that `create_seal_file` makes holds a certificate that the plant made for itself (X.509, RFC 5280): it says what the plant
calls itself, and a reader compares its SHA-256.  One from a certification authority is used just as well.  PKCS#12 because
that is what authorities hand out and signing programs read (RFC 7292).
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

from ledger.errors import KeyFileRefused
from ops.key_files import MAX_FILE_BYTES, MIN_PASSWORD_BYTES, read_owner_only, write_new

if TYPE_CHECKING:
    from pathlib import Path

    from ledger.evidence.pdf.seal import SealKey, Stamp

RSA_BITS = 3072
"""Strength of 128 bits (NIST SP 800-57 part 1; from memory)."""

YEARS = 10

LONGEST_NAME = 64
"""Characters of a name in a certificate (RFC 5280, appendix A.1, ub-common-name)."""


def create_seal_file(path: Path, name: str, password: str, now: dt.datetime) -> x509.Certificate:
    """A new key and a certificate over it for `name`, valid for ten years from `now`; on disk and durable, mode 0600.

    Raises KeyFileRefused if the file exists, the password has under 12 bytes, or the name is empty or too long.
    """
    if len(password.encode()) < MIN_PASSWORD_BYTES:
        raise KeyFileRefused(
            "password too short", expected=f"at least {MIN_PASSWORD_BYTES} bytes", mend="choose a longer one"
        )
    if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise KeyFileRefused("name cannot stand in a certificate", expected=f"1 to {LONGEST_NAME} characters", got=name)
    key = rsa.generate_private_key(public_exponent=65_537, key_size=RSA_BITS)
    certificate = _certificate(key, name, now)
    raw = pkcs12.serialize_key_and_certificates(
        b"seal", key, certificate, None, BestAvailableEncryption(password.encode())
    )
    write_new(path, raw)
    return certificate


def _certificate(key: rsa.RSAPrivateKey, name: str, now: dt.datetime) -> x509.Certificate:
    """Of its own making; its key is for signatures and for nothing else."""
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)])
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=False,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now.replace(microsecond=0))
        .not_valid_after(now.replace(microsecond=0) + dt.timedelta(days=365 * YEARS + YEARS // 4))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    return builder.sign(key, SHA256())


def open_seal_file(path: Path, password: str, now: dt.datetime, stamp: Stamp | None = None) -> SealKey:
    """The seal in the file at `path`; `stamp` asks a time stamping authority.

    Raises KeyFileRefused (mode, wrong password, another kind of key, a certificate that is not valid at `now`), Unsupported
    where the extra is not installed.
    """
    # The package is an extra's, and takes a second to import.
    from ledger.evidence.pdf.seal import SealKey  # noqa: PLC0415

    try:
        raw = read_owner_only(path)
    except OSError as error:
        raise KeyFileRefused(f"seal file cannot be read: {error.strerror}", where=str(path)) from error
    if len(raw) > MAX_FILE_BYTES:
        raise KeyFileRefused("seal file too long", expected=f"at most {MAX_FILE_BYTES} bytes", where=str(path))
    try:
        return SealKey(raw, password.encode(), now=now, stamp=stamp)
    except KeyFileRefused as error:
        raise KeyFileRefused(
            error.problem, expected=error.expected, got=error.got, where=str(path), mend=error.mend
        ) from error
