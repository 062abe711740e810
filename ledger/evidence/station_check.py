"""The stations' own signatures on entries: each by a station's key that the book knew when it took the entry.

A station signs what it says before the book takes it (DSSE over the canonical bytes of ``said``); so an entry that bears its
signature was not made up by whoever holds the keys of the book alone.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import NamedTuple

import msgspec
from msgspec import UNSET

from ledger.book.canonical import MAX_ENTRY_BYTES
from ledger.book.envelope import SAID_TYPE, check_envelope
from ledger.book.signing import Verifier, parse_verifier
from ledger.evidence.archive import Archive
from ledger.evidence.first_fault import naming_file
from ledger.line.book_keys import KeyIntroduced, KeyRevoked
from ledger.line.record import Record

_PART = 250
"""Signatures that are one part of the check."""


class _Signed(msgspec.Struct, gc=False):
    """Of a canonical entry, what its station signed, as it stands there, and the signature."""

    said: msgspec.Raw
    signature: str


class _Term(NamedTuple):
    """A station's key, the first entry that it may sign, and the first after these that it may not."""

    verifier: Verifier
    first: int
    end: int | None = None


_decode = msgspec.json.Decoder(_Signed).decode


class StationCheck:
    """Takes the entries in ascending order, which have every introduction and revocation of a key among them.

    Then checks the signatures, some a part (see `hands`).
    """

    def __init__(self, archive: Archive) -> None:
        """No station has a key yet."""
        self._archive = archive
        self._terms: dict[tuple[str, str], _Term] = {}
        self._ended: list[_Term] = []
        self._signed = array("Q")

    def take(self, index: int, records: Sequence[Record], *, is_signed: bool) -> None:
        """Take the next entry.

        A key speaks from the entry after its introduction up to the one before its revocation. Raises MalformedKey.
        """
        for record in records:
            if isinstance(record, KeyRevoked):
                self._revoke(index, record)
        if is_signed:
            self._signed.append(index)
        for record in records:
            if isinstance(record, KeyIntroduced) and record.purpose == "station":
                verifier = parse_verifier(record.verifier)
                self._terms.setdefault((verifier.name, verifier.key_id.hex()), _Term(verifier, index + 1))

    def _revoke(self, index: int, record: KeyRevoked) -> None:
        for name, key_id in list(self._terms):
            if name == record.key and record.id in (UNSET, key_id):
                term = self._terms.pop((name, key_id))
                self._ended.append(term._replace(end=index))

    @property
    def signatures(self) -> int:
        """How many entries bear one."""
        return len(self._signed)

    @property
    def parts(self) -> range:
        """The numbers of the parts."""
        return range(-(-len(self._signed) // _PART))

    def check(self, part: int) -> bytes:
        """Check the signatures of a part. Raises MalformedDossier or DossierRejected."""
        for index in self._signed[part * _PART : (part + 1) * _PART]:
            name = f"entries/{index}.json"
            # It was proved and read before, so it has one form: what stands there is what was signed, to the byte.
            signed = _decode(self._archive.content(name, MAX_ENTRY_BYTES))
            with naming_file(name):
                check_envelope(signed.signature, SAID_TYPE, bytes(signed.said), self._known_at(index))
        return b""

    def _known_at(self, index: int) -> Iterator[Verifier]:
        terms = chain(self._terms.values(), self._ended)
        return (term.verifier for term in terms if term.first <= index and (term.end is None or index < term.end))
