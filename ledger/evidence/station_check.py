"""The stations' own signatures on entries: each by a station's key that the book knew when it took the entry.

A station signs what it says before the book takes it (DSSE over the canonical bytes of ``said``); so an entry that bears its
signature was not made up by whoever holds the keys of the book alone.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import UNSET

from ledger.book.canonical import encode
from ledger.book.entry import Entry, said_fields
from ledger.book.envelope import SAID_TYPE, check_envelope
from ledger.book.signing import Verifier, parse_verifier
from ledger.evidence.entry_read import PlainEntry, said_bytes
from ledger.evidence.first_fault import naming_file
from ledger.line.book_keys import KeyIntroduced, KeyRevoked
from ledger.line.record import Record


class StationCheck:
    """Takes the entries in ascending order, which have every introduction and revocation of a key among them."""

    def __init__(self) -> None:
        """No station has a key yet."""
        self._keys: dict[tuple[str, str], Verifier] = {}

    def check(self, index: int, signature: str | None, said: bytes, records: Sequence[Record]) -> None:
        """Check the signature of the next entry, if it bears one; ``said``: see `signed_bytes`.

        A key speaks from the entry after its introduction up to the one before its revocation. Raises MalformedDossier or
        DossierRejected.
        """
        for record in records:
            if isinstance(record, KeyRevoked):
                self._revoke(record)
        if signature is not None:
            with naming_file(f"entries/{index}.json"):
                check_envelope(signature, SAID_TYPE, said, self._keys.values())
        for record in records:
            if isinstance(record, KeyIntroduced) and record.purpose == "station":
                verifier = parse_verifier(record.verifier)
                self._keys[verifier.name, verifier.key_id.hex()] = verifier

    def _revoke(self, record: KeyRevoked) -> None:
        for name, key_id in list(self._keys):
            if name == record.key and record.id in (UNSET, key_id):
                del self._keys[name, key_id]


def signed_bytes(entry: Entry | PlainEntry) -> bytes:
    """What a station signs of an entry; nothing of one that bears no signature. To be asked before its records are read."""
    if not entry.signature:
        return b""
    return said_bytes(entry) if isinstance(entry, PlainEntry) else encode(said_fields(entry.said))
