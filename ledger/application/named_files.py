"""Files that the records of a submission name: gathered while the book is looked at, stored when the look has ended.

So a thread never needs a second connection to the store while it holds one, and they are durable before the entry.
"""

from __future__ import annotations

import hashlib

from ledger.store.blobs import put_blob
from ledger.store.engine import Store


class NamedFiles:
    """Files to be stored, in their order."""

    def __init__(self) -> None:
        """None yet."""
        self._files: list[tuple[bytes, str]] = []

    def name(self, raw: bytes, media_type: str) -> str:
        """Take a file; the digest by which a record names it."""
        self._files.append((raw, media_type))
        return hashlib.sha256(raw).hexdigest()

    def put_into(self, store: Store) -> None:
        """Store them. Raises what `put_blob` raises."""
        for raw, media_type in self._files:
            put_blob(store, raw, media_type)
