"""Seals for tests: PKCS#12 files of a kind of key, made once a run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Literal, TypeVar

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, pkcs12

from ledger.evidence.pdf.seal import SealKey, Stamp

PASSWORD = b"a password for tests"
NAME = "Plant 1 (invented)"
NOW = dt.datetime.now(dt.UTC).replace(microsecond=0)
"""The library signs by its own clock, so certificates are valid about the run."""

T = TypeVar("T")

Kind = Literal["rsa", "weak", "elliptic"]


@cache
def seal_file(kind: Kind = "rsa", name: str = NAME) -> bytes:
    """A PKCS#12 file with a key of that kind and a certificate of its own making, valid from yesterday for ten days."""
    key: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey
    if kind == "elliptic":
        key = ec.generate_private_key(ec.SECP256R1())
    else:
        key = rsa.generate_private_key(
            public_exponent=65_537, key_size=1024 if kind == "weak" else 2048
        )  # one is weak on purpose
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(7)
        .not_valid_before(NOW - dt.timedelta(days=1))
        .not_valid_after(NOW + dt.timedelta(days=9))
        .sign(key, SHA256())
    )
    return pkcs12.serialize_key_and_certificates(b"seal", key, certificate, None, BestAvailableEncryption(PASSWORD))


def seal_key(stamp: Stamp | None = None, *, now: dt.datetime = NOW) -> SealKey:
    """A seal that is ready."""
    return SealKey(seal_file(), PASSWORD, now=now, stamp=stamp)


def in_own_thread(call: Callable[[], T]) -> T:
    """What a call gives that seals, or checks a seal: the library starts a loop, and a thread drives one at a time.

    The thread of a test that drives a browser has one already.
    """
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(call).result()
