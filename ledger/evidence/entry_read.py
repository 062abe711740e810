"""Reading an entry whose fields are all open and plain, at once with its records: the same as the general way, or nothing.

Most entries of a dossier seal nothing and breach nothing. Such a one is decoded into its records without a step between;
whatever is otherwise in any way is left to `parse_entry`, `read_entry` and `read_records`, which say what is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal, NamedTuple

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import MAX_ENTRY_BYTES, MAX_INTEGER
from ledger.book.entry import GENESIS_HASH, Entry, read_entry
from ledger.book.instant import instant_ms
from ledger.errors import MalformedInstant
from ledger.evidence.archive import Archive
from ledger.evidence.entry_facts import read_records
from ledger.evidence.proved_entry import ProvedEntry
from ledger.line.record import At, Digest, Record, has_sealed
from ledger.line.vocabulary import AnyRecord

_KEPT_ENTRIES = 1_000
"""Some five kilobytes each; twice as many are kept at most."""

_Text = Annotated[str, Meta(min_length=1)]
_Index = Annotated[int, Meta(ge=0, le=MAX_INTEGER)]


class PlainSaid(msgspec.Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """What one author said together, its records read."""

    book: _Text
    key: _Text
    records: Annotated[tuple[AnyRecord, ...], Meta(min_length=1)]


class PlainEntry(msgspec.Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """An entry without anything sealed and without breaches; its fields in canonical order."""

    author: _Text
    book: _Text
    breaches: Annotated[list[dict[str, object]], Meta(max_length=0)]
    index: _Index
    prev: Digest
    recorded_at: At
    said: PlainSaid
    v: Literal[1]
    signature: _Text | UnsetType = UNSET

    @property
    def records(self) -> tuple[Record, ...]:
        """Its records."""
        return self.said.records


class ReadEntry(NamedTuple):
    """An entry with its records, withheld fields of which read as ``0`` and erasable ones left out."""

    entry: ProvedEntry
    records: Sequence[Record]


class ProvedEntries:
    """Reads entries of a dossier again that were proved before; the last ones are kept, since balls share some."""

    def __init__(self, archive: Archive) -> None:
        """Nothing is read yet."""
        self._archive = archive
        self._newer: dict[int, ReadEntry] = {}
        self._older: dict[int, ReadEntry] = {}

    def read(self, index: int) -> ReadEntry:
        """The entry at ``index``. Raises MalformedDossier where there is none."""
        found = self._newer.get(index) or self._older.get(index)
        if found is None:
            if len(self._newer) >= _KEPT_ENTRIES:
                self._newer, self._older = {}, self._newer
            name = f"entries/{index}.json"
            found = self._newer[index] = proved_entry(self._archive.content(name, MAX_ENTRY_BYTES), name)
        return found


_decode = msgspec.json.Decoder(PlainEntry).decode
_encode = msgspec.json.Encoder(order="sorted").encode


def plain_entry(raw: bytes) -> PlainEntry | None:
    """The entry if it is plain, read strictly: what `parse_entry` and `read_records` would give of the same bytes.

    None for any other, whether right or wrong.
    """
    # Written anew it is the same bytes, so they are canonical: text is ASCII, and whole numbers are those of the kinds.
    if len(raw) > MAX_ENTRY_BYTES or not raw.isascii():
        return None
    plain = proved_plain(raw)
    if plain is None or _encode(plain) != raw or plain.said.book != plain.book:
        return None
    if plain.index == 0 and plain.prev != GENESIS_HASH.hex():
        return None
    try:
        instant_ms(plain.recorded_at)
    except MalformedInstant:
        return None
    return plain


def proved_plain(raw: bytes) -> PlainEntry | None:
    """The entry if it is plain; its bytes were proved to be those of an entry."""
    try:
        plain = _decode(raw)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None
    return None if any(has_sealed(record) for record in plain.records) else plain


def proved_entry(raw: bytes, where: str) -> ReadEntry:
    """An entry whose bytes were proved, with its records. Raises MalformedEntry, MalformedDossier."""
    plain = proved_plain(raw)
    if plain is not None:
        return ReadEntry(plain, plain.records)
    entry: Entry = read_entry(raw)
    return ReadEntry(entry, read_records(entry.said.records, where))
