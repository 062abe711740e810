"""RFC 3161 time stamps: what is asked of a time stamping authority, and the check of what it answers.

A token says that these bytes existed at the time that it states, by the clock and key of the authority: *existed
before*, never *not before*. Its certificates are checked as of that time, so a token outlives its certificate; whoever
steals the authority's key can backdate, which a second authority is against.

Asked is SHA-256 over the bytes, with a nonce and the authority's certificate in the answer. Accepted is an answer that
was granted as asked, over these bytes, by a certificate for time stamping alone (RFC 3161 section 2.3) that leads to one of
the roots given. The signature and the chain are the library's to check (extra ``evidence``); what it would only raise as
an odd error is looked at here before, so that the reason is plain.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ledger.errors import LedgerError, MalformedInput, MalformedKey, SignatureRejected, Unsupported

# The library of certificates is imported where one is read: a service that is given none starts without it.
if TYPE_CHECKING:
    from collections.abc import Sequence

    from cryptography import x509

MAX_RESPONSE_BYTES = 65_536
MAX_ROOTS_BYTES = 1_000_000

REQUEST_TYPE = "application/timestamp-query"
RESPONSE_TYPE = "application/timestamp-reply"
"""Media types of RFC 3161 section 3.4."""

_SHA256 = "2.16.840.1.101.3.4.2.1"

# RFC 3161 section 2.4.2, PKIStatus; only 0 is what was asked for.
_STATUS = {
    1: "granted with changes",
    2: "rejected",
    3: "waiting",
    4: "revocation warning",
    5: "revocation notification",
}


@dataclass(frozen=True, slots=True)
class TimeToken:
    """A token that was checked. ``at_ms``: the time it states, POSIX milliseconds; ``accuracy_ms``: how right the authority
    says that is, None where it does not say. ``authority``: the subject of the certificate that signed; ``policy``: an OID.
    """

    at_ms: int
    accuracy_ms: int | None
    authority: str
    policy: str
    serial: int


@dataclass(frozen=True, slots=True)
class TokenRequest:
    """What is sent (DER), and what the answer is held against: each has a nonce of its own."""

    der: bytes
    nonce: int


def request_token(message: bytes) -> TokenRequest:
    """Ask for a token over ``message`` (not empty). Raises Unsupported where the extra is not installed."""
    client = _library()
    builder = client.TimestampRequestBuilder().data(message).hash_algorithm(client.HashAlgorithm.SHA256)
    request = builder.nonce(nonce=True).cert_request(cert_request=True).build()
    return TokenRequest(request.as_bytes(), request.nonce)


def parse_roots(pem: bytes) -> tuple[x509.Certificate, ...]:
    """The certificates of a PEM file that a reader trusts as roots; raises MalformedKey."""
    from cryptography import x509  # noqa: PLC0415

    if len(pem) > MAX_ROOTS_BYTES:
        raise MalformedKey("file of roots is too long", expected=f"at most {MAX_ROOTS_BYTES} bytes", got=len(pem))
    try:
        found = x509.load_pem_x509_certificates(pem)
    except ValueError as error:
        raise MalformedKey("file holds no certificates in PEM", mend="give the authority's root certificate") from error
    return tuple(dict.fromkeys(found))


def check_token(
    response: bytes, message: bytes, roots: Sequence[x509.Certificate], request: TokenRequest | None = None
) -> TimeToken:
    """Check an answer (DER) over ``message``; with ``request``, also that it answers that and no earlier one.

    Raises MalformedInput for what is no answer, SignatureRejected naming what is wrong, MalformedKey without roots,
    Unsupported where the extra is not installed.
    """
    client = _library()
    if not roots:
        raise MalformedKey("no root certificate is given", mend="give the authority's root certificate")
    answer = _decoded(client, response)
    try:
        _check_status(answer)
        info = answer.tst_info
        _check_imprint(info, message)
        _check_nonce(info, request)
        signer = _signer(answer)
        verifier = client.VerifierBuilder(roots=list(roots)).build()
        verifier.verify_message(answer, message)
        return _token(info, signer)
    except LedgerError:
        raise
    except client.VerificationError as error:
        raise SignatureRejected("time token does not lead to a root given", got=_reason(error)) from error
    except Exception as error:
        # The library reads parts as they are asked for, and raises what its parser does.
        raise SignatureRejected("time token cannot be checked", got=_reason(error)) from error


def _library() -> Any:
    try:
        import rfc3161_client  # noqa: PLC0415  # an extra that most installations do without
    except ImportError as error:
        raise Unsupported(
            "time stamps need a library that is not installed",
            expected="rfc3161-client",
            mend="install pourbook with the extra evidence",
        ) from error
    return rfc3161_client


def _decoded(client: Any, response: bytes) -> Any:
    if len(response) > MAX_RESPONSE_BYTES:
        raise MalformedInput(
            "time stamp answer is too long", expected=f"at most {MAX_RESPONSE_BYTES} bytes", got=len(response)
        )
    try:
        return client.decode_timestamp_response(response)
    except ValueError as error:
        if "InvalidSetOrdering" in str(error):
            # X.690 section 11.6: DER sorts a SET; some authorities that send their whole chain do not.
            mend = "have the authority send its own certificate alone"
            raise MalformedInput("certificates in the time stamp answer are out of order", mend=mend) from error
        raise MalformedInput("time stamp answer is no RFC 3161 response", got=_reason(error)) from error


def _check_status(answer: Any) -> None:
    status = int(answer.status)
    if status:
        said = "; ".join(str(text) for text in answer.status_string)
        word = _STATUS.get(status, f"status {status}")
        raise SignatureRejected(
            "time stamping authority gave no token as asked", expected="granted", got=f"{word} {said}".strip()
        )


def _check_imprint(info: Any, message: bytes) -> None:
    imprint = info.message_imprint
    if imprint.hash_algorithm.dotted_string != _SHA256:
        got = imprint.hash_algorithm.dotted_string
        raise SignatureRejected("time token is over another digest", expected="SHA-256", got=got)
    digest = hashlib.sha256(message).digest()
    if imprint.message != digest:
        raise SignatureRejected(
            "time token is over other bytes", expected=f"SHA-256 {digest.hex()}", got=imprint.message.hex()
        )


def _check_nonce(info: Any, request: TokenRequest | None) -> None:
    if request is not None and info.nonce != request.nonce:
        raise SignatureRejected("time token answers another request", expected="the nonce that was sent")


def _signer(answer: Any) -> x509.Certificate:
    """The certificate that signed, from the answer; it is for time stamping alone."""
    from cryptography import x509  # noqa: PLC0415

    signed = answer.signed_data
    held = signed.certificates
    if not held:
        raise SignatureRejected(
            "time token holds no certificate", mend="the authority has to send its own when it is asked to"
        )
    signers = signed.signer_infos
    if len(signers) != 1:
        raise SignatureRejected("time token has another number of signers", expected=1, got=len(signers))
    (named,) = signers
    certificates = map(x509.load_der_x509_certificate, held)
    found = [one for one in certificates if (one.issuer, one.serial_number) == (named.issuer, named.serial_number)]
    if len(found) != 1:
        # With two of one name and number, a stranger's could lend its subject to the report.
        raise SignatureRejected(
            "time token does not hold the one certificate that signed it", expected=1, got=len(found)
        )
    _check_usage(found[0])
    return found[0]


def _check_usage(certificate: x509.Certificate) -> None:
    from cryptography import x509  # noqa: PLC0415
    from cryptography.x509.oid import ExtendedKeyUsageOID  # noqa: PLC0415

    try:
        usage = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage)
    except x509.ExtensionNotFound as error:
        raise SignatureRejected("authority's certificate does not say that it is for time stamping") from error
    if not usage.critical or list(usage.value) != [ExtendedKeyUsageOID.TIME_STAMPING]:
        raise SignatureRejected(
            "authority's certificate is not for time stamping alone", expected="timeStamping, critical and alone"
        )


def _token(info: Any, signer: x509.Certificate) -> TimeToken:
    at: datetime = info.gen_time
    return TimeToken(
        at_ms=round(at.timestamp() * 1000),
        accuracy_ms=_accuracy_ms(info.accuracy),
        authority=signer.subject.rfc4514_string(),
        policy=info.policy.dotted_string,
        serial=int(info.serial_number),
    )


def _accuracy_ms(accuracy: Any) -> int | None:
    """Rounded up: seconds, millis and micros are each optional (RFC 3161 section 2.4.2)."""
    if accuracy is None:
        return None
    micros = (accuracy.seconds or 0) * 1_000_000 + (accuracy.millis or 0) * 1_000 + (accuracy.micros or 0)
    return int(-(-micros // 1_000))


def _reason(error: BaseException) -> str:
    return " ".join(str(error).split()) or type(error).__name__
