"""Allotting serials of the own scheme: from the counter, through the keyed permutation, entered before they are given."""

from __future__ import annotations

import msgspec

from ledger.book.instant import Instant, format_instant
from ledger.errors import Contradiction, KeyReused, MalformedRecord
from ledger.line.balls import SerialsAllotted
from ledger.line.rows import Counter
from ledger.line.serial import next_serials
from ledger.line.submission import Submission
from ledger.store.answer import Entered
from ledger.store.engine import Store
from ledger.store.reader import Reader, open_reader
from ledger.store.writer import Writer

MOST = 1000
TRIES = 20


class Allotted(msgspec.Struct, frozen=True, kw_only=True):
    """Serials given to a station, and the entry that says so."""

    serials: tuple[str, ...]
    entry: int
    receipt: str


def allot(  # who asks, for whom, how many, under which key and clock
    store: Store, writer: Writer, secret: bytes, *, station: str, count: int, key: str, author: str, now_ms: int
) -> Allotted:
    """Allot ``count`` serials. The same key gives the same serials again.

    Two stations that ask at once both want the counter's next value: the later one asks again, at most 20 times.
    Raises MalformedRecord for a count outside 1 to 1000, Contradiction when the counter kept moving.
    """
    if not 1 <= count <= MOST:
        raise MalformedRecord(
            "a count out of range", expected=f"1 to {MOST}", got=count, where="count", mend="ask for fewer"
        )
    for _ in range(TRIES):
        with open_reader(store) as reader:
            record = _earlier(reader, author, key, (station, count))
            counter = reader.one(Counter, "own")
        if record is None:
            first = 0 if counter is None else counter.next
            serials = tuple(next_serials(secret, first, count))
            at = format_instant(Instant(now_ms, 0))
            record = SerialsAllotted(at=at, station=station, first=first, serials=serials)
        try:
            entered: Entered = writer.submit(Submission(key=key, records=(record,)), author).result()
        except Contradiction as error:
            if error.where.endswith("first"):
                continue
            raise
        return Allotted(serials=record.serials, entry=entered.index, receipt=entered.receipt)
    raise Contradiction("the serial counter kept moving", where="count", mend="ask again")


def _earlier(reader: Reader, author: str, key: str, wanted: tuple[str, int]) -> SerialsAllotted | None:
    """The record that stands under the key already: said again as it is, the writer answers with its entry."""
    index = reader.requested(author, key)
    if index is None:
        return None
    fact = reader.fact(f"{index}.0")
    record = None if fact is None else fact.record
    if not isinstance(record, SerialsAllotted) or (record.station, len(record.serials)) != wanted:
        raise KeyReused(
            f"key {key} was used for something else, in entry {index}",
            where="Idempotency-Key",
            mend="use a new key for each request",
        )
    return record
