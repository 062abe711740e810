"""Large facts (photos, logs, long lists): stored before the entry that names them by digest, length and type."""

from __future__ import annotations

import hashlib
from typing import NamedTuple

from ledger.errors import NotFound, TooLarge
from ledger.store.engine import Store

MAX_BYTES = 32 * 1024 * 1024


class Blob(NamedTuple):
    """A stored blob. ``digest`` is SHA-256 of ``bytes`` in lower-case hex."""

    digest: str
    media_type: str
    bytes: bytes


def put_blob(store: Store, raw: bytes, media_type: str) -> Blob:
    """Store a blob durably; the same bytes again change nothing. Raises TooLarge."""
    if len(raw) > MAX_BYTES:
        raise TooLarge("blob is too long", expected=f"at most {MAX_BYTES} bytes", got=len(raw))
    blob = Blob(hashlib.sha256(raw).hexdigest(), media_type, raw)
    with store.writing() as transaction:
        transaction.run(
            'INSERT INTO "blob" ("digest", "media_type", "length", "bytes") VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING',
            (blob.digest, blob.media_type, len(raw), raw),
        )
    return blob


def read_blob(store: Store, digest: str) -> Blob:
    """A blob by digest. Raises NotFound."""
    with store.reading() as transaction:
        found = transaction.row('SELECT "digest", "media_type", "bytes" FROM "blob" WHERE "digest" = ?', (digest,))
    if found is None:
        raise NotFound("blob is not stored", got=digest, mend="send it before the entry that names it")
    return Blob(*found)
