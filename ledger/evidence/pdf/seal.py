"""The seal of a report: a PAdES signature over the whole file, made with an RSA key and its certificate from a PKCS#12 file.

Level B-B, or B-T with a time stamp (ETSI EN 319 142-1; from memory).  The key is an RSA key, since for an elliptic one the
library writes what PDF/A-3 does not allow, and the increment says PDF 1.7, which it would raise to 2.0.  The certificate may
be one that the plant made for itself: a reader then has to be told that it is trusted, by its digest.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from typing import Any, NamedTuple, Protocol

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import pkcs12

from ledger.errors import KeyFileRefused, Unsupported

FIELD = "Seal"
"""The name of the signature field."""

LEAST_RSA_BITS = 2048

_RESERVED = 32_768
"""Room for the signature in hex digits, time stamp and certificates with it: fixed, so that no answer is asked for twice."""

Stamp = Callable[[bytes], bytes | str]
"""A time stamp request (DER) to the authority's response (DER), or in words why there is none."""


class SealWords(NamedTuple):
    """The seal as pages tell of it: whose it is, and the SHA-256 of the certificate (64 hex digits)."""

    subject: str
    fingerprint: str


class Sealed(NamedTuple):
    """A sealed file; ``unstamped``: in words why no time stamp is in its signature, empty where one is."""

    pdf: bytes
    unstamped: str


class Sealer(Protocol):
    """Whoever seals: here, or in the process that holds the key."""

    @property
    def words(self) -> SealWords:
        """What the pages say of the seal."""
        ...

    def seal(self, pdf: bytes) -> Sealed:
        """The file with its seal."""
        ...


class SealKey:
    """An RSA key with its certificate, out of a PKCS#12 file."""

    def __init__(self, pkcs12_bytes: bytes, password: bytes, *, now: dt.datetime, stamp: Stamp | None = None) -> None:
        """Open it. ``stamp``: the time stamping authority, if there is one.

        Raises KeyFileRefused for a wrong password, a file that is none, another kind of key, or a certificate that is not
        valid at ``now``; Unsupported where the extra is not installed.
        """
        _signing()
        certificate = _certificate_of(pkcs12_bytes, password)
        if not certificate.not_valid_before_utc <= now <= certificate.not_valid_after_utc:
            raise KeyFileRefused(
                "certificate of the seal is not valid now",
                expected=f"{certificate.not_valid_before_utc:%Y-%m-%d} to {certificate.not_valid_after_utc:%Y-%m-%d}",
                got=f"{now:%Y-%m-%d}",
                mend="make or get a new one",
            )
        self._file, self._password, self._stamp = pkcs12_bytes, password, stamp
        self.certificate = certificate
        self.words = words_of(certificate)

    def seal(self, pdf: bytes) -> Sealed:
        """The file with its seal behind it, stamped if the authority answers."""
        if self._stamp is None:
            return Sealed(self._signed(pdf, None), "no time stamping authority is set up")
        try:
            return Sealed(self._signed(pdf, _stamper(self._stamp)), "")
        except _signing().unstamped as error:
            return Sealed(self._signed(pdf, None), str(error))

    def _signed(self, pdf: bytes, stamper: Any) -> bytes:
        parts = _signing()
        signer = parts.signers.SimpleSigner.load_pkcs12_data(self._file, other_certs=[], passphrase=self._password)
        meta = parts.signers.PdfSignatureMetadata(
            field_name=FIELD,
            md_algorithm="sha256",
            subfilter=parts.fields.SigSeedSubFilter.PADES,
            certify=True,
            docmdp_permissions=parts.fields.MDPPerm.NO_CHANGES,
        )
        signed = parts.signers.sign_pdf(
            parts.writer(io.BytesIO(pdf)), meta, signer=signer, timestamper=stamper, bytes_reserved=_RESERVED
        )
        return bytes(signed.getvalue())


def words_of(certificate: x509.Certificate) -> SealWords:
    """Whom a certificate names, by its common name or else the whole subject, and its digest."""
    names = certificate.subject.get_attributes_for_oid(x509.NameOID.COMMON_NAME)
    subject = str(names[0].value) if names else certificate.subject.rfc4514_string()
    return SealWords(subject, certificate.fingerprint(SHA256()).hex())


def _certificate_of(pkcs12_bytes: bytes, password: bytes) -> x509.Certificate:
    try:
        key, certificate, _ = pkcs12.load_key_and_certificates(pkcs12_bytes, password)
    except ValueError as error:
        raise KeyFileRefused("seal file does not open with this password, or is no PKCS#12 file") from error
    if not isinstance(key, RSAPrivateKey) or key.key_size < LEAST_RSA_BITS or certificate is None:
        raise KeyFileRefused(
            "seal file holds no key that can seal",
            expected=f"an RSA key of {LEAST_RSA_BITS} bits or more and its certificate",
            mend="make one with: pourbook keys new-seal",
        )
    return certificate


class _Signing(NamedTuple):
    """What of the library is used."""

    signers: Any
    fields: Any
    writer: Any
    stamper: Any
    unstamped: Any


def _signing() -> _Signing:
    try:
        from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter  # noqa: PLC0415  # an extra
        from pyhanko.sign import fields, signers, timestamps  # noqa: PLC0415  # as above
    except ImportError as error:
        raise Unsupported(
            "a seal needs packages that are not installed",
            expected="pyHanko",
            mend="install pourbook with the extra evidence",
        ) from error

    class Writer(IncrementalPdfFileWriter):
        """An increment that stays PDF 1.7."""

        output_version = (1, 7)

    return _Signing(signers, fields, Writer, timestamps.TimeStamper, timestamps.TimestampRequestError)


def _stamper(stamp: Stamp) -> Any:
    class Stamper(_signing().stamper):  # type: ignore[misc]  # known only once the extra is there
        """Asks the authority that was given."""

        async def async_request_tsa_response(self, req: Any) -> Any:
            """The authority's response to a request, if it is one to this request."""
            answer = stamp(req.dump())
            if isinstance(answer, str):
                raise _signing().unstamped(answer)
            return _response(answer, req)

    return Stamper()


def _response(answer: bytes, request: Any) -> Any:
    """The response, granted and over what was asked: the library looks at less, and at some of it too late."""
    from asn1crypto import tsp  # noqa: PLC0415  # comes with the extra

    unstamped = _signing().unstamped
    try:
        response = tsp.TimeStampResp.load(answer)
        status = response["status"]["status"].native
        stated = (
            response["time_stamp_token"]["content"]["encap_content_info"]["content"].parsed
            if status == "granted"
            else None
        )
        same = stated is not None and all(
            stated[part].native == request[part].native for part in ("nonce", "message_imprint")
        )
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        said = " ".join(str(error).split())
        raise unstamped(f"the time stamping authority sent no token that can be read: {said}") from error
    if stated is None:
        raise unstamped(f"the time stamping authority gave no token: {status}")
    if not same:
        raise unstamped("the time stamping authority answered another request")
    return response
