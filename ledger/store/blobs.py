"""Large facts (photos, logs, long lists): stored by digest, and durable before an entry could name them.

The same bytes are one blob, under the media type with which they first came.  A blob never changes, so whoever knows a
digest from elsewhere has the bytes checked by it; they are checked here on each reading too.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from typing import NamedTuple

from ledger.errors import MalformedInput, NotFound, StoreDamaged, TooLarge
from ledger.store.engine import Store
from ledger.store.transaction import Transaction

MAX_BYTES = 32 * 1024 * 1024
"""The longest blob whatever a service allows: it is read and written in one piece."""

_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)
# Token characters of RFC 9110 section 5.6.2, as far as registered media types use them (RFC 6838 section 4.2).
_MEDIA_TYPE = re.compile(r"[a-z0-9][a-z0-9!#$&^_.+-]{0,62}/[a-z0-9][a-z0-9!#$&^_.+-]{0,62}", re.ASCII)


class Blob(NamedTuple):
    """A stored blob. ``digest`` is SHA-256 of ``bytes`` in lower-case hex."""

    digest: str
    media_type: str
    bytes: bytes


class Kept(NamedTuple):
    """What became of bytes that were sent: ``fresh`` unless they had been stored before, under ``media_type``."""

    digest: str
    media_type: str
    length: int
    fresh: bool


def put_blob(store: Store, raw: bytes, media_type: str) -> Kept:
    """Store a blob durably; the same bytes again change nothing.

    ``media_type`` is lower-case ``type/subtype`` without parameters. Raises MalformedInput for another form or no bytes,
    TooLarge.
    """
    if not _MEDIA_TYPE.fullmatch(media_type):
        raise MalformedInput(
            "media type has another form", expected="type/subtype", got=media_type, where="Content-Type",
            mend="say what the bytes are, such as image/jpeg",
        )  # fmt: skip
    if not raw:
        raise MalformedInput("blob is empty", where="body", mend="send its bytes as the body")
    if len(raw) > MAX_BYTES:
        raise TooLarge("blob is too long", expected=f"at most {MAX_BYTES} bytes", got=len(raw))
    digest = hashlib.sha256(raw).hexdigest()
    with store.writing() as transaction:
        added = transaction.run(
            'INSERT INTO "blob" ("digest", "media_type", "length", "bytes") VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING',
            (digest, media_type, len(raw), raw),
        )
        found = transaction.row('SELECT "media_type" FROM "blob" WHERE "digest" = ?', (digest,))
    return Kept(digest, media_type if found is None else str(found[0]), len(raw), added == 1)


def read_blob(store: Store, digest: str) -> Blob:
    """A blob by digest. Raises NotFound, StoreDamaged when its bytes are not those that were stored."""
    found = None
    if _DIGEST.fullmatch(digest):
        with store.reading() as transaction:
            found = transaction.row('SELECT "digest", "media_type", "bytes" FROM "blob" WHERE "digest" = ?', (digest,))
    if found is None:
        raise NotFound("blob is not stored", got=digest, mend="ask by the SHA-256 of its bytes, in lower-case hex")
    blob = Blob(*found)
    _check_bytes(digest, blob.bytes)
    return blob


def read_blobs(transaction: Transaction, digests: Sequence[str]) -> dict[str, bytes]:
    """The bytes of those blobs that are stored, by digest: for few and small ones. Raises StoreDamaged."""
    wanted = list(dict.fromkeys(digests))
    condition = transaction.dialect.any_of('"digest"')
    found: dict[str, bytes] = dict(
        transaction.rows_of(f'SELECT "digest", "bytes" FROM "blob" WHERE {condition}', wanted)
    )
    for digest, raw in found.items():
        _check_bytes(digest, raw)
    return found


def _check_bytes(digest: str, raw: bytes) -> None:
    if hashlib.sha256(raw).hexdigest() != digest:
        raise StoreDamaged(
            "blob has other bytes than were stored", where=f"blob {digest}", mend="restore it from a copy"
        )
