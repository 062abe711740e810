r"""Sealed fields: a salted commitment in the entry, the value beside it where it can be withheld or erased.

The entry holds ``{"sealed": "<64 lower-case hex>"}``. The digest is

    SHA-256( tag || salt || u32be(len path) || path || u32be(len value) || value )

with ``tag`` = ``pourbook/sealed-field/1\n``, ``salt`` 32 random bytes for this field alone, ``path`` the
ASCII path of the field with the record's position first (``0/draws/1/kg``), ``value`` the canonical bytes.
Lengths make the parts unambiguous. Once salt and value are erased the digest says nothing about them.

Common practice for commitments; no standard owns this form. Salts are arguments: nothing here is random.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from dataclasses import dataclass

from ledger.book import canonical
from ledger.errors import MalformedRecord, SealedFieldMismatch

TAG = b"pourbook/sealed-field/1\n"
SALT_BYTES = 32

_PATH = re.compile(r"(?:0|[1-9][0-9]{0,8})(?:/[A-Za-z0-9_.-]+)+", re.ASCII)
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Opening:
    """What opens a sealed field: its path, its 32-byte salt, and the value as said. Erasable."""

    path: str
    salt: bytes
    value: object


def seal(path: str, value: object, salt: bytes) -> str:
    """Give the 64 lower-case hex digits that stand in the entry for ``value``.

    Raises MalformedRecord for a path or salt of another form, MalformedCanonical for a value outside the profile.
    """
    if len(salt) != SALT_BYTES:
        raise MalformedRecord("salt has another length", expected=f"{SALT_BYTES} bytes", got=len(salt))
    if _PATH.fullmatch(path) is None:
        raise MalformedRecord("path of a sealed field has another form", expected="like 0/draws/1/kg", got=path)
    path_bytes = path.encode("ascii")
    value_bytes = canonical.encode(value)
    framed = b"".join((TAG, salt, _length(path_bytes), path_bytes, _length(value_bytes), value_bytes))
    return hashlib.sha256(framed).hexdigest()


def check_opening(opening: Opening, sealed_hex: str) -> None:
    """Raise SealedFieldMismatch unless ``opening`` gives exactly the digest that was sealed."""
    digest = seal(opening.path, opening.value, opening.salt)
    # Bytes, since compare_digest refuses text that is not ASCII.
    if not hmac.compare_digest(digest.encode(), sealed_hex.encode("utf-8", "surrogatepass")):
        raise SealedFieldMismatch("opening does not give the sealed digest", where=opening.path)


def format_sealed(sealed_hex: str) -> dict[str, str]:
    """Give the object that stands in the entry."""
    return {"sealed": sealed_hex}


def parse_sealed(value: object) -> str:
    """Read the object that stands in the entry; raises MalformedRecord unless it is exactly of that form."""
    if isinstance(value, dict) and len(value) == 1:
        digest = value.get("sealed")
        if isinstance(digest, str) and _DIGEST.fullmatch(digest):
            return digest
    raise MalformedRecord("sealed field has another form", expected='{"sealed": 64 lower-case hex digits}')


def is_sealed(value: object) -> bool:
    """Whether ``value`` has the form of a sealed field; says nothing about what it seals."""
    return (
        isinstance(value, dict)
        and len(value) == 1
        and isinstance(digest := value.get("sealed"), str)
        and _DIGEST.fullmatch(digest) is not None
    )


def _length(part: bytes) -> bytes:
    return len(part).to_bytes(4, "big")
