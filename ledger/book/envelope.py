"""DSSE envelopes: a station's signature over exact bytes. Source: DSSE v1.0 (protocol and envelope).

Signed: ``DSSEv1 SP len(type) SP type SP len(body) SP body``, lengths in bytes as ASCII decimals. Envelope, JSON:

    {"payload": base64(body), "payloadType": type, "signatures": [{"keyid": text, "sig": base64}, ...]}

``keyid`` is a hint and decides nothing. The reader has the body already, so the payload must equal it,
and nothing is ever read out of an envelope.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from ledger.book.c2sp_text import format_base64, parse_base64
from ledger.book.signing import Signer, Verifier, parse_verifier
from ledger.errors import MalformedEnvelope, MalformedKey, SignatureRejected

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

SAID_TYPE = "application/vnd.pourbook.said+json"
MAX_ENVELOPE_SIGNATURES = 16
MAX_ENVELOPE_BYTES = 16 * 1024 * 1024

_SIGNING_PURPOSES = ("station", "dossier")


class _Signature(msgspec.Struct, forbid_unknown_fields=True):
    sig: str
    keyid: str = ""


class _Envelope(msgspec.Struct, forbid_unknown_fields=True):
    payload: str
    payload_type: str = msgspec.field(name="payloadType")
    signatures: list[_Signature]


_encode = msgspec.json.Encoder(order="deterministic").encode
_decode = msgspec.json.Decoder(_Envelope).decode


def pae(payload_type: str, body: bytes) -> bytes:
    """Give the pre-authentication encoding, the bytes that are signed. Source: DSSE v1.0 protocol, PAE."""
    type_bytes = payload_type.encode()
    return b"DSSEv1 %d %b %d %b" % (len(type_bytes), type_bytes, len(body), body)


def sign_envelope(payload_type: str, body: bytes, signer: Signer) -> str:
    """Give the envelope's JSON text; raises MalformedKey for a checkpoint or witness key: one key, one purpose."""
    if signer.purpose not in _SIGNING_PURPOSES:
        raise MalformedKey(
            "key has another purpose", expected=" or ".join(_SIGNING_PURPOSES), got=signer.purpose, where=signer.name
        )
    line = {"keyid": signer.verifier.key_id.hex(), "sig": format_base64(signer.sign(pae(payload_type, body)))}
    envelope = {"payload": format_base64(body), "payloadType": payload_type, "signatures": [line]}
    return _encode(envelope).decode()


def check_envelope(text: str, payload_type: str, body: bytes, verifiers: Iterable[Verifier | str]) -> Verifier:
    """Check that one of ``verifiers`` signed ``body`` as ``payload_type``; gives that verifier.

    Raises MalformedEnvelope, MalformedKey or SignatureRejected (other type, other payload, no known signature).
    """
    signatures, stated_type, payload = _parse(text)
    if stated_type != payload_type:
        raise SignatureRejected("envelope is of another type", expected=payload_type, got=stated_type)
    if payload != body:
        raise SignatureRejected("envelope holds another payload")
    known = [parse_verifier(key) if isinstance(key, str) else key for key in verifiers]
    message = pae(payload_type, body)
    for verifier in known:
        for signature in signatures:
            if _is_good(verifier, message, signature):
                return verifier
    raise SignatureRejected("envelope has no signature by a known key", got=f"{len(signatures)} signatures")


def _parse(text: str) -> tuple[Sequence[bytes], str, bytes]:
    if len(text) > MAX_ENVELOPE_BYTES:
        raise MalformedEnvelope("envelope is too long", expected=f"at most {MAX_ENVELOPE_BYTES} characters")
    try:
        envelope = _decode(text.encode())
    except (msgspec.MsgspecError, UnicodeError, RecursionError) as error:
        raise MalformedEnvelope("envelope is not DSSE JSON") from error
    if not 0 < len(envelope.signatures) <= MAX_ENVELOPE_SIGNATURES:
        expected = f"1 to {MAX_ENVELOPE_SIGNATURES}"
        raise MalformedEnvelope("envelope has another count of signatures", expected=expected)
    signatures = [_base64(line.sig, "sig") for line in envelope.signatures]
    return signatures, envelope.payload_type, _base64(envelope.payload, "payload")


def _base64(text: str, where: str) -> bytes:
    """DSSE lets a signer choose the standard or the URL-safe alphabet; a mix of both is refused."""
    if "-" in text or "_" in text:
        if "+" in text or "/" in text:
            raise MalformedEnvelope("base64 mixes two alphabets", where=where)
        text = text.replace("-", "+").replace("_", "/")
    return parse_base64(text, MalformedEnvelope, where=where)


def _is_good(verifier: Verifier, message: bytes, signature: bytes) -> bool:
    try:
        verifier.check(message, signature)
    except SignatureRejected:
        return False
    return True
