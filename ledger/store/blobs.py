"""Large facts (photos, logs, long lists): stored by digest, and durable before an entry could name them.

The same bytes are one blob, under the media type with which they first came.  A blob never changes, so whoever knows a
digest from elsewhere has the bytes checked by it; they are checked here on each reading too.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from ledger.errors import Contradiction, MalformedInput, NotFound, StoreDamaged, TooLarge
from ledger.line.erasure_rows import ErasedBlob, StoredBlob
from ledger.store.engine import Store
from ledger.store.transaction import Transaction
from ledger.store.view_tables import VIEW_TABLES

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
    TooLarge, Contradiction for bytes that were erased.
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
        # Looked for after the row was written: an erasure that was being committed is seen by now.
        if added:
            _refuse_erased(transaction, digest)
        found = transaction.row('SELECT "media_type" FROM "blob" WHERE "digest" = ?', (digest,))
    return Kept(digest, media_type if found is None else str(found[0]), len(raw), added == 1)


def read_blob(store: Store, digest: str) -> Blob:
    """A blob by digest. Raises NotFound, which says so where it was erased; StoreDamaged when its bytes are others."""
    found = None
    if _DIGEST.fullmatch(digest):
        with store.reading() as transaction:
            found = transaction.row('SELECT "digest", "media_type", "bytes" FROM "blob" WHERE "digest" = ?', (digest,))
            erased = None if found else _erased(transaction, digest)
            if erased is not None:
                raise NotFound(
                    f"file was erased by fact {erased.address} ({erased.basis}: {erased.reason})",
                    got=digest,
                    where=f"blob {digest}",
                    mend="nothing brings it back; the entry that names it still stands",
                )
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


def stored_blobs(transaction: Transaction, digests: Sequence[str]) -> dict[str, Sequence[StoredBlob]]:
    """Which of the blobs are stored, by digest. One query."""
    condition = transaction.dialect.any_of('"digest"')
    found = transaction.rows_of(f'SELECT "digest" FROM "blob" WHERE {condition}', list(digests))
    return {digest: [StoredBlob(digest=digest)] for (digest,) in found}


def blob_ends(transaction: Transaction, digests: Sequence[str]) -> dict[str, tuple[bytes, bytes]]:
    """Of those blobs that are stored, by digest: the first 64 bytes, and the last 1,024."""
    condition = transaction.dialect.any_of('"digest"')
    statement = (
        'SELECT "digest", substr("bytes", 1, 64), '
        'substr("bytes", CAST(CASE WHEN "length" > 1024 THEN "length" - 1023 ELSE 1 END AS INTEGER)) '
        f'FROM "blob" WHERE {condition}'
    )
    rows = transaction.rows_of(statement, list(dict.fromkeys(digests)))
    return {digest: (bytes(first), bytes(last)) for digest, first, last in rows}


def delete_blobs(transaction: Transaction, digests: Sequence[str]) -> None:
    """Delete the bytes of files that are erased; one that was never stored here is not there to delete."""
    for digest in digests:
        transaction.run('DELETE FROM "blob" WHERE "digest" = ?', (digest,))


def erased_blobs(transaction: Transaction, digests: Sequence[str]) -> dict[str, ErasedBlob]:
    """Which of the blobs were erased, by digest."""
    table = VIEW_TABLES[ErasedBlob]
    rows = transaction.rows_of(table.select(transaction.dialect.any_of('"digest"')), list(digests))
    erased: list[Any] = [table.to_row(row) for row in rows]
    return {row.digest: row for row in erased}


def _erased(transaction: Transaction, digest: str) -> ErasedBlob | None:
    return erased_blobs(transaction, [digest]).get(digest)


def _refuse_erased(transaction: Transaction, digest: str) -> None:
    erased = _erased(transaction, digest)
    if erased is not None:
        raise Contradiction(
            f"these bytes were erased by fact {erased.address}, and are not kept again",
            got=digest,
            where="body",
            mend="send another file, if there is one",
        )


def _check_bytes(digest: str, raw: bytes) -> None:
    if hashlib.sha256(raw).hexdigest() != digest:
        raise StoreDamaged(
            "blob has other bytes than were stored", where=f"blob {digest}", mend="restore it from a copy"
        )
