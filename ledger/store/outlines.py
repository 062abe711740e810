"""What a check of the whole book reads of an entry, decoded once: its place, who said it under which key, its kinds.

Decoding also shows which records may hold something sealed: those with a field in which a kind keeps sealed text.  The
decoder skips everything else, so it costs a third more than finding index and link alone.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from functools import cache, lru_cache
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET, Raw, UnsetType

from ledger.errors import MalformedEntry
from ledger.line.record import sealed_names
from ledger.line.vocabulary import RECORD_OF


class Said(msgspec.Struct, gc=False):
    """The idempotency key, and of each record its kind and the fields that may hold something sealed."""

    key: str
    records: list[Any]


class Outline(msgspec.Struct, gc=False):
    """One entry, as far as a check reads it."""

    index: int
    prev: str
    author: str
    recorded_at: str
    said: Said


class _Shapes(NamedTuple):
    decode: Callable[[bytes], Outline]
    record: Any


@cache
def _shapes() -> _Shapes:
    """How entries are decoded. Not made at the start of a program: finding the sealed fields of every kind takes long."""
    names = sorted({name for kind in RECORD_OF.values() for name in sealed_names(kind)})
    fields: list[Any] = [("kind", str), *((name, Raw | UnsetType, UNSET) for name in names)]
    record: Any = msgspec.defstruct("_Record", fields, gc=False)
    said: Any = msgspec.defstruct("_Said", [("records", list[record])], bases=(Said,), gc=False)
    outline: Any = msgspec.defstruct("_Outline", [("said", said)], bases=(Outline,), gc=False)
    return _Shapes(msgspec.json.Decoder(outline).decode, record)


def read_outlines(start: int, raws: Sequence[bytes]) -> Iterator[Outline]:
    """The outlines of entries from index ``start`` on. Raises MalformedEntry."""
    decode = _shapes().decode
    for index, raw in enumerate(raws, start):
        try:
            yield decode(raw)
        except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
            raise MalformedEntry("entry cannot be read", where=f"entry {index}") from error


def places_to_look_at(outlines: Sequence[Outline], kinds: Collection[str]) -> Iterator[int]:
    """The places of the entries that may hold something sealed, or a record of one of these kinds."""
    plain: list[Any] = []
    for place, outline in enumerate(outlines):
        records = outline.said.records
        if records == plain:
            continue  # most entries are of the same kinds as the one before
        if all(record.kind not in kinds and record == _bare(record.kind) for record in records):
            plain = records
        else:
            yield place


@lru_cache(maxsize=256)
def _bare(kind: str) -> Any:
    return _shapes().record(kind=kind)
