"""Ed25519 keys with a name and one purpose. The only module of the core that imports a cipher library.

A verifier is written as a C2SP signed-note verifier key: ``name+<8 hex of key id>+base64(type || public key)``,
with key id = first 4 bytes of SHA-256(name || 0x0A || type || public key). Type 0x01 signs notes, 0x04 signs
timestamped cosignatures (C2SP tlog-cosignature). Private keys are kept as encrypted PKCS#8 PEM.

Signatures are RFC 8032 Ed25519. Small-order and non-canonical public keys are refused: a signature by one binds
nobody. Signature bytes are never an identity, since others may be made from them.
Seeds, passwords and files are arguments; nothing is generated here.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from typing import Final, Protocol

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    load_pem_private_key,
)

from ledger.book.c2sp_text import format_base64, parse_base64
from ledger.errors import MalformedKey, SignatureRejected

SEED_BYTES = 32
PUBLIC_KEY_BYTES = 32
SIGNATURE_BYTES = 64
KEY_ID_BYTES = 4

NOTE_KEY: Final = 0x01
COSIGNATURE_KEY: Final = 0x04

PURPOSES = ("checkpoint", "dossier", "station", "witness", "credential")
"""One key has one purpose. A witness's verifier is of type 0x04, all others of type 0x01."""

_VERIFIER_KEY = re.compile(r"([^+]+)\+([0-9a-f]{8})\+([A-Za-z0-9+/=]{1,200})", re.ASCII)
_MAX_NAME_CHARACTERS = 200

# Ed25519 field prime, RFC 8032 section 5.1, and y of a point of order 8 (its negative is the other one).
# Points of order 1, 2 and 4 have y = 1, -1 and 0. The value is checked in the tests by multiplying by 8.
_P = 2**255 - 19
_Y_ORDER_8 = 0x7A03AC9277FDC74EC6CC392CFA53202A0F67100D760B3CBA4FD84D3D706A17C7
_SMALL_ORDER_Y = frozenset({0, 1, _P - 1, _Y_ORDER_8, _P - _Y_ORDER_8})


@dataclass(frozen=True, slots=True)
class Verifier:
    """A public key with its name; ``kind`` is the C2SP signature type (0x01 note, 0x04 cosignature).

    Raises MalformedKey for a name with spaces or ``+``, a key that is not 32 bytes, or one of small order.
    """

    name: str
    public: bytes
    kind: int = NOTE_KEY
    key_id: bytes = field(init=False, compare=False)
    _key: Ed25519PublicKey = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Check the parts and work out the key id."""
        if not is_key_name(self.name):
            raise MalformedKey("key name", expected="at least one character, no space, no +", got=self.name)
        if self.kind not in (NOTE_KEY, COSIGNATURE_KEY):
            raise MalformedKey("key has a type that is not known", expected="0x01 or 0x04", got=hex(self.kind))
        _check_public_key(self.public)
        typed = bytes([self.kind]) + self.public
        key_id = hashlib.sha256(self.name.encode() + b"\n" + typed).digest()[:KEY_ID_BYTES]
        object.__setattr__(self, "key_id", key_id)
        object.__setattr__(self, "_key", Ed25519PublicKey.from_public_bytes(self.public))

    def check(self, message: bytes, signature: bytes) -> None:
        """Raise SignatureRejected unless ``signature`` (64 bytes) is this key's over ``message``."""
        if len(signature) != SIGNATURE_BYTES:
            raise SignatureRejected(
                "signature has another length", expected=f"{SIGNATURE_BYTES} bytes", got=len(signature), where=self.name
            )
        try:
            self._key.verify(signature, message)
        except InvalidSignature as error:
            raise SignatureRejected("signature is not by this key over this message", where=self.name) from error


@dataclass(frozen=True, slots=True)
class Signer:
    """A private key with its name and its one purpose. Never printed: its repr leaves the key out."""

    name: str
    purpose: str
    _key: Ed25519PrivateKey = field(repr=False, compare=False)
    verifier: Verifier = field(init=False)

    def __post_init__(self) -> None:
        """Check name and purpose and derive the verifier."""
        if self.purpose not in PURPOSES:
            raise MalformedKey("key has a purpose that is not known", expected=", ".join(PURPOSES), got=self.purpose)
        kind = COSIGNATURE_KEY if self.purpose == "witness" else NOTE_KEY
        object.__setattr__(self, "verifier", Verifier(self.name, self._key.public_key().public_bytes_raw(), kind))

    def sign(self, message: bytes) -> bytes:
        """Give the 64-byte Ed25519 signature over ``message``; the same bytes each time. RFC 8032 section 5.1.6."""
        return self._key.sign(message)


class NoteSigner(Protocol):
    """What signs a note: a `Signer`, or whoever asks one that is elsewhere."""

    @property
    def purpose(self) -> str:
        """The key's one purpose."""

    @property
    def verifier(self) -> Verifier:
        """What checks its signatures."""

    def sign(self, message: bytes) -> bytes:
        """Give the 64-byte signature over ``message``."""


def signer_from_seed(name: str, seed: bytes, purpose: str = "checkpoint") -> Signer:
    """Make a signer from a 32-byte RFC 8032 private key; raises MalformedKey."""
    if len(seed) != SEED_BYTES:
        raise MalformedKey("seed has another length", expected=f"{SEED_BYTES} bytes", got=len(seed))
    return Signer(name, purpose, Ed25519PrivateKey.from_private_bytes(seed))


def signer_from_private_pem(name: str, pem: bytes, password: bytes, purpose: str = "checkpoint") -> Signer:
    """Open an encrypted PKCS#8 PEM; raises MalformedKey for another key type, a wrong password or other bytes."""
    try:
        key = load_pem_private_key(pem, password)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise MalformedKey("private key cannot be opened", mend="check the file and its password") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise MalformedKey("private key is of another type", expected="Ed25519")
    return Signer(name, purpose, key)


def private_pem(signer: Signer, password: bytes) -> bytes:
    """Give the private key as PKCS#8 PEM encrypted under ``password`` (not empty, else MalformedKey)."""
    if not password:
        raise MalformedKey("password is empty", mend="give a password for the key file")
    key = signer._key  # noqa: SLF001  # the one place where a private key leaves its signer, encrypted
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(password))


def format_verifier(verifier: Verifier) -> str:
    """Give the verifier key line. Source: C2SP signed-note v1.0.0, verifier keys."""
    typed = bytes([verifier.kind]) + verifier.public
    return f"{verifier.name}+{verifier.key_id.hex()}+{format_base64(typed)}"


def parse_verifier(vkey: str) -> Verifier:
    """Read a verifier key line; raises MalformedKey, also when the key id is not the key's."""
    match = _VERIFIER_KEY.fullmatch(vkey)
    if match is None:
        raise MalformedKey("verifier key has another form", expected="name+8 hex digits+base64", got=vkey)
    name, key_id, encoded = match.groups()
    typed = parse_base64(encoded, MalformedKey, where="verifier key")
    if len(typed) != 1 + PUBLIC_KEY_BYTES:
        raise MalformedKey("verifier key has another length", expected=1 + PUBLIC_KEY_BYTES, got=len(typed), where=name)
    verifier = Verifier(name, typed[1:], typed[0])
    if verifier.key_id.hex() != key_id:
        raise MalformedKey("key id is not that of the key", expected=verifier.key_id.hex(), got=key_id, where=name)
    return verifier


def is_key_name(name: str) -> bool:
    """Whether C2SP signed-note allows ``name``: not empty, no Unicode space, no ``+``, no control character."""
    if not 0 < len(name) <= _MAX_NAME_CHARACTERS or "+" in name:
        return False
    return not any(char.isspace() or char < " " or "\ud800" <= char <= "\udfff" for char in name)


def _check_public_key(public: bytes) -> None:
    if len(public) != PUBLIC_KEY_BYTES:
        raise MalformedKey("public key has another length", expected=f"{PUBLIC_KEY_BYTES} bytes", got=len(public))
    y = int.from_bytes(public, "little") & ((1 << 255) - 1)
    if y >= _P:
        raise MalformedKey("public key is not in canonical form", expected="RFC 8032 section 5.1.3")
    if y in _SMALL_ORDER_Y:
        raise MalformedKey("public key has small order", mend="make a new key: signatures by this one bind nobody")
