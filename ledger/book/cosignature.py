r"""The timestamped cosignature: what is signed, and the bytes that carry it.

Source: C2SP tlog-cosignature v1.0.0, signature type 0x04. Signed message:

    cosignature/v1\n
    time <POSIX seconds>\n
    <note text>

Signature bytes: ``u64be seconds || 64-byte Ed25519 signature``. The message does not hold the cosigner's name,
so one key serves one cosigner.
"""

from __future__ import annotations

from ledger.book.signing import SIGNATURE_BYTES, Signer, Verifier
from ledger.errors import MalformedKey, SignatureRejected

_SECONDS_BYTES = 8


def cosigned_message(text: str, at_seconds: int) -> bytes:
    """Give the bytes that a cosigner signs over the note text at ``at_seconds`` (POSIX seconds)."""
    return f"cosignature/v1\ntime {at_seconds}\n{text}".encode()


def sign_cosignature(text: str, signer: Signer, at_seconds: int) -> bytes:
    """Give the 72 signature bytes; raises MalformedKey for a key of another purpose or a time below 0."""
    if signer.purpose != "witness":
        raise MalformedKey("key has another purpose", expected="witness", got=signer.purpose, where=signer.name)
    if not 0 <= at_seconds < 2**63:
        raise MalformedKey("time of a cosignature is out of range", expected="POSIX seconds", got=at_seconds)
    return at_seconds.to_bytes(_SECONDS_BYTES, "big") + signer.sign(cosigned_message(text, at_seconds))


def check_cosignature_bytes(text: str, verifier: Verifier, signature: bytes) -> int:
    """Check 72 signature bytes over the note text; gives the POSIX seconds. Raises SignatureRejected."""
    expected = _SECONDS_BYTES + SIGNATURE_BYTES
    if len(signature) != expected:
        raise SignatureRejected(
            "cosignature has another length", expected=f"{expected} bytes", got=len(signature), where=verifier.name
        )
    at_seconds = int.from_bytes(signature[:_SECONDS_BYTES], "big")
    verifier.check(cosigned_message(text, at_seconds), signature[_SECONDS_BYTES:])
    return at_seconds
